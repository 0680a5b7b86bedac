// Package importrules_test holds the rules of imports: which package may import
// which. Imports point one way, toward farm; adapters never know each other.
package importrules_test

import (
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// may lists, for every package, what of the project it may import, and why
// the others are kept out. A package that is not listed fails the test.
var may = map[string]struct {
	imports []string
	why     string
}{
	"farm":             {nil, "the nouns are a leaf: everybody imports them"},
	"loopback":         {nil, "which hosts are this machine is a leaf: all who decide by it decide alike"},
	"shared":           {nil, "one answer for many who ask is a leaf: it knows nothing of what is made"},
	"backoff":          {nil, "waiting before another attempt is a leaf: everybody waits alike"},
	"quantity":         {[]string{"farm"}, "amounts with units: configuration and jots read them alike, by the rows of farm"},
	"jot":              {[]string{"farm", "quantity", "husbandry"}, "the logbook is read from a text, a farm and a time alone"},
	"husbandry":        {[]string{"farm"}, "science is pure and knows nouns only"},
	"trend":            {[]string{"farm"}, "statistics are pure"},
	"licences":         {nil, "what the program is made of is a leaf: a table and a text"},
	"secret":           {nil, "where passwords and keys lie is a leaf: whoever is given one may open it"},
	"config":           {[]string{"farm", "quantity", "husbandry", "loopback", "secret", "ingest", "journal", "influx", "notify", "page"}, "it gathers what each of them wants to be told; none of them knows YAML"},
	"ingest":           {[]string{"farm", "jot", "secret", "backoff", "loopback", "quantity", "trend"}, "nobody else parses payloads"},
	"journal":          {[]string{"backoff", "farm", "journal/columns", "journal/oldchunk"}, "the store judges nothing"},
	"journal/columns":  {nil, "packs numbers, and knows none of them"},
	"journal/oldchunk": {[]string{"journal/columns"}, "reads what older versions packed, and nothing else"},
	"rules":            {[]string{"farm", "husbandry", "trend"}, "the fold is pure: no adapter, no clock, no I/O"},
	"ahead":            {[]string{"farm", "husbandry", "trend"}, "what comes is reckoned from a view and what the journal says: no adapter, no clock, no I/O"},
	"reliability":      {[]string{"farm", "trend"}, "how reliable probes were is reckoned from events alone"},
	"cause":            {[]string{"farm"}, "what conditions share is found in a farm, a view and what is raised alone"},
	"rounds":           {[]string{"farm"}, "the care list is made from a view alone"},
	"dashboard":        {nil, "what others draw is described by the names of metrics and points alone"},
	"notify":           {[]string{"farm", "cause", "secret", "backoff", "chart", "loopback"}, "adapters state what they need in their own interfaces"},
	"influx":           {[]string{"farm", "secret", "backoff", "husbandry"}, "adapters state what they need in their own interfaces; a point says what its zone is held to"},
	"metrics":          {[]string{"farm"}, "adapters state what they need in their own interfaces"},
	"page":             {[]string{"farm", "jot", "secret", "calibration", "chart", "loopback", "snippet", "quantity", "reliability", "page/auth"}, "adapters state what they need in their own interfaces"},
	"page/auth":        {[]string{"loopback"}, "the login knows nothing of worms"},
	"chart":            {[]string{"farm"}, "curves are drawn from samples; mail and page show the same"},
	"control":          {[]string{"farm"}, "the way for commands knows what may be said, not how it is done"},
	"clock":            {nil, "time is kept by whoever asks, from clocks it is given"},
	"systemd":          {nil, "the service manager is told how the daemon is, not what it does"},
	"watch":            {[]string{"farm", "backoff", "clock", "ingest", "rules", "journal"}, "the one live loop joins intake, fold and store"},
	"rehearse":         {[]string{"farm", "ingest", "rules", "journal"}, "a rehearsal is the loop without broker and writing"},
	"physics":          {nil, "the invented nature must not know the models it is to test"},
	"demo":             {[]string{"backoff", "farm", "quantity", "physics"}, "the simulated farm talks MQTT like any other"},
	"scenariotest":     {[]string{"farm", "physics"}, "test support: physics other than the models fitted"},
	"acceptancetest":   {[]string{"farm", "husbandry", "ingest", "rehearse", "rules", "scenariotest"}, "test support: the whole judging held against bins of known truth"},
	"brokertest":       {[]string{"proctest"}, "test support: starts a real broker"},
	"certtest":         {nil, "test support: certificates"},
	"efforttest":       {nil, "test support: how much a test tries"},
	"bench":            {nil, "prints figures; what is measured runs as benchmarks of the packages"},
	"powercuttest":     {[]string{"farm", "journal"}, "test support, prints figures: a machine without power, held against its journal by what the journal itself reads"},
	"influxtest":       {[]string{"proctest"}, "test support: starts real databases"},
	"proctest":         {nil, "test support: child processes, and waiting for them"},
	"survey":           {[]string{"farm", "calibration", "ingest", "snippet", "quantity"}, "proposals are made of what was heard; ingest alone takes payloads apart"},
	"calibration":      {[]string{"farm", "snippet", "quantity", "trend"}, "samples become points: pure, for the command and the page alike"},
	"snippet":          {nil, "lines to paste are a leaf: proposals and calibrations write them alike"},
}

func TestImportsPointTowardFarm(t *testing.T) {
	for _, line := range goList(t, "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "./internal/...") {
		words := strings.Fields(line)
		name := strings.TrimPrefix(words[0], "binwatchd/internal/")
		if name == "importrules" {
			continue
		}
		rule, ok := may[name]
		if !ok {
			t.Errorf("package %s is not in the table of imports; add it with what it may import", name)
			continue
		}
		for _, imp := range words[1:] {
			of, ours := strings.CutPrefix(imp, "binwatchd/internal/")
			if ours && !slices.Contains(rule.imports, of) {
				t.Errorf("%s imports %s: not allowed, because %s", name, of, rule.why)
			}
		}
	}
}

// The fold and the science under it must be pure, or a replay would differ.
func TestTheFoldHasNoClockAndNoIO(t *testing.T) {
	banned := []string{"os", "net", "net/http", "database/sql", "math/rand", "math/rand/v2", "io/fs", "log/slog"}
	for _, line := range goList(t, "-f", "{{.ImportPath}} {{join .Imports \" \"}}",
		"./internal/farm", "./internal/husbandry", "./internal/trend", "./internal/rules", "./internal/rounds", "./internal/ahead", "./internal/quantity",
		"./internal/cause", "./internal/jot", "./internal/survey", "./internal/calibration", "./internal/snippet") {
		words := strings.Fields(line)
		for _, imp := range words[1:] {
			if slices.Contains(banned, imp) {
				t.Errorf("%s imports %s: it must be a pure function of its arguments", words[0], imp)
			}
		}
	}
}

func goList(t *testing.T, args ...string) []string {
	t.Helper()
	cmd := exec.Command("go", append([]string{"list"}, args...)...)
	cmd.Dir = "../.."
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	return strings.Split(strings.TrimSpace(string(out)), "\n")
}
