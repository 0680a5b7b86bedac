package dashboard_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/dashboard"
)

var update = flag.Bool("update", false, "write the files of deploy/ anew")

// What is shipped is printed from here: a query stands once.
func TestShippedFiles(t *testing.T) {
	files := map[string]string{
		"prometheus/queries.promql":      dashboard.QueriesFile(),
		"influx/queries.influxql":        dashboard.QuestionsFile(),
		"prometheus/binwatchd.rules.yml": dashboard.RulesFile(),
	}
	for _, kind := range dashboard.Kinds {
		files["dashboards/"+kind+".json"] = printed(t, kind)
	}
	for name, text := range files {
		path := "../../deploy/" + name
		if *update {
			if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		shipped, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(string(shipped), text); d != "" {
			t.Errorf("deploy/%s is not what is printed (go test ./internal/dashboard -update):\n%s", name, d)
		}
	}
}

func printed(t *testing.T, kind string) string {
	t.Helper()
	var out bytes.Buffer
	if err := dashboard.Print(&out, kind); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

func TestUnknownKind(t *testing.T) {
	if err := dashboard.Print(new(bytes.Buffer), "paper"); err == nil || !strings.Contains(err.Error(), dashboard.Kinds[0]) {
		t.Errorf("got %v, want an error that names the kinds", err)
	}
}

// A shown thing is one on a screen of Grafana.
type shown struct {
	ID          int
	Type, Title string
	Description string
	GridPos     struct{ X, Y, W, H int }
	Targets     []struct{ RefID, Expr, Query, LegendFormat string }
	FieldConfig struct{ Defaults struct{ Unit string } }
}

// Nothing on the screen lies over anything else or beyond its edge, and each has a
// number of its own, a title and words on what it shows.
func TestTheScreenIsInOrder(t *testing.T) {
	for _, kind := range dashboard.Kinds[:2] { // of Grafana
		var board struct{ Panels []shown }
		if err := json.Unmarshal([]byte(printed(t, kind)), &board); err != nil {
			t.Fatal(err)
		}
		seen := map[int]bool{}
		taken := map[[2]int]string{}
		for _, p := range board.Panels {
			if seen[p.ID] || p.Title == "" {
				t.Errorf("%s: %q has the number %d, which is not its own", kind, p.Title, p.ID)
			}
			seen[p.ID] = true
			if p.Type != "row" && (p.Description == "" || len(p.Targets) == 0 || p.FieldConfig.Defaults.Unit == "") {
				t.Errorf("%s: %q lacks words, queries or a unit", kind, p.Title)
			}
			if p.GridPos.W < 1 || p.GridPos.X+p.GridPos.W > 24 {
				t.Errorf("%s: %q does not fit: %+v", kind, p.Title, p.GridPos)
			}
			for x := range p.GridPos.W {
				for y := range p.GridPos.H {
					at := [2]int{p.GridPos.X + x, p.GridPos.Y + y}
					if over := taken[at]; over != "" {
						t.Fatalf("%s: %q lies over %q", kind, p.Title, over)
					}
					taken[at] = p.Title
				}
			}
		}
		if len(seen) < 15 {
			t.Errorf("%s: only %d things are on the screen", kind, len(seen))
		}
	}
}

// The template of InfluxDB 2 fits its screen of 12 columns, cell beside cell, and asks by
// the variables that it brings.
func TestTheTemplateIsInOrder(t *testing.T) {
	var resources []struct {
		Kind string
		Spec struct {
			Name   string
			Charts []struct {
				Name, Kind, Note          string
				XPos, YPos, Width, Height int
				Queries                   []struct{ Query string }
			}
		}
	}
	if err := json.Unmarshal([]byte(printed(t, "influx2")), &resources); err != nil {
		t.Fatal(err)
	}
	variables, cells, taken := map[string]bool{}, 0, map[[2]int]string{}
	for _, r := range resources {
		if r.Kind == "Variable" {
			variables[r.Spec.Name] = true
		}
		for _, c := range r.Spec.Charts {
			cells++
			if c.Name == "" || c.Note == "" || len(c.Queries) == 0 || c.XPos+c.Width > 12 {
				t.Errorf("%+v lacks words or queries, or does not fit", c)
			}
			for x := range c.Width {
				for y := range c.Height {
					at := [2]int{c.XPos + x, c.YPos + y}
					if over := taken[at]; over != "" {
						t.Fatalf("%q lies over %q", c.Name, over)
					}
					taken[at] = c.Name
				}
			}
			for _, q := range c.Queries {
				for _, v := range regexp.MustCompile(`\bv\.(bins_\w+)`).FindAllStringSubmatch(q.Query, -1) {
					if !variables[v[1]] {
						t.Errorf("%q asks by %s, which is no variable", c.Name, v[1])
					}
				}
				if strings.Contains(q.Query, "{levels") || strings.Contains(q.Query, "{zones") || !strings.HasPrefix(q.Query, "from(") {
					t.Errorf("%q asks %s", c.Name, q.Query)
				}
			}
		}
	}
	if len(variables) != 4 || cells < 20 {
		t.Errorf("%d variables and %d cells only", len(variables), cells)
	}
}
