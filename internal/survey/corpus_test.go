package survey_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A device is one of the corpus: what it says, and what is proposed for it.
type device struct {
	name      string
	said      []said
	want, not []string
	ids, life string
}

// corpus reads the devices of a file of testdata/corpus; seen.txt says how it is written.
func corpus(t *testing.T, file string) (all []device) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", "corpus", file))
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(b)) {
		line = strings.TrimRight(line, "\n")
		sign, rest, _ := strings.Cut(line, " ")
		switch d := len(all) - 1; sign {
		case "", "#":
		case "==":
			all = append(all, device{name: rest})
		case ">", "!":
			at := payloadAt(rest)
			topic, payload := strings.TrimSpace(rest[:at]), rest[at:]
			if q, ok := strings.CutPrefix(payload, "q"); ok && strings.HasPrefix(q, `"`) {
				if payload, err = strconv.Unquote(q); err != nil {
					t.Fatalf("%s: %v", line, err)
				}
			}
			all[d].said = append(all[d].said, said{float64(60 * len(all[d].said)), topic, payload, sign == "!"})
		case "=":
			all[d].want = append(all[d].want, rest)
		case "alive":
			all[d].life = rest
		case "ids":
			all[d].ids = rest
		case "not":
			all[d].not = append(all[d].not, rest)
		default:
			t.Fatalf("%s: what is %q? %s", file, sign, line)
		}
	}
	return all
}

// payloadAt is where the payload begins behind a topic, whose levels may hold blanks.
func payloadAt(line string) int {
	if i := strings.IndexAny(line, "{["); i > 0 {
		return i
	}
	slash := strings.LastIndex(line[:strings.IndexByte(line+" ", ' ')], "/")
	return slash + strings.IndexByte(line[slash:], ' ') + 1
}

// What devices say, with all that they leave with the broker, is understood without edits.
func TestCorpus(t *testing.T) {
	for _, file := range []string{"seen.txt", "held_out.txt"} {
		for _, d := range corpus(t, file) {
			t.Run(strings.TrimSuffix(file, ".txt")+"/"+d.name, func(t *testing.T) {
				p := hear(d.said...).Propose()
				var got []string
				for _, probe := range p.Probes {
					pointer := probe.Value
					if pointer == "" {
						pointer = `""`
					}
					got = append(got, fmt.Sprintf("%s %s %s %s", probe.Topic, pointer, probe.Measures, probe.Unit))
					if probe.Alive != d.life {
						t.Errorf("%s is alive by %q, want %q", probe.ID, probe.Alive, d.life)
					}
					if !strings.HasPrefix(probe.ID, d.ids) {
						t.Errorf("%s %s has the name %s, want it to begin with %s", probe.Topic, probe.Value, probe.ID, d.ids)
					}
				}
				slices.Sort(got)
				slices.Sort(d.want)
				if diff := cmp.Diff(d.want, got); diff != "" {
					t.Errorf("(-want +got)\n%s\n%s", diff, yamlOf(t, p))
				}
				for _, want := range d.not {
					if !slices.ContainsFunc(strings.Split(yamlOf(t, p), "\n"), func(line string) bool {
						for word := range strings.FieldsSeq(want) {
							if !strings.Contains(line, word) {
								return false
							}
						}
						return true
					}) {
						t.Errorf("nothing left out says %q:\n%s", want, yamlOf(t, p))
					}
				}
				if len(p.Probes) > 0 {
					compose(t, p)
				}
			})
		}
	}
}
