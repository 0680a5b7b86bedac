package deploy_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// A bill of materials names just what the toolchain itself (go version -m) finds in the
// binary of that machine, each with a licence. That it is CycloneDX is held against the
// standard's own schema by make ecosystem.
func TestBillOfMaterials(t *testing.T) {
	for _, name := range []string{"binwatchd-armhf", "binwatchd-amd64"} {
		binary := build(t, name)
		cmd := exec.Command("go", "run", "-trimpath", "./sbom", binary, firstVersion)
		cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "SOURCE_DATE_EPOCH=1767225600")
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("sbom: %v", err)
		}
		var bill struct {
			Metadata struct {
				Timestamp string
				Component struct{ Version string }
			}
			Components []struct {
				Name, Version string
				Licenses      []struct{ Expression string }
			}
		}
		if err := json.Unmarshal(out, &bill); err != nil {
			t.Fatal(err)
		}
		if got := bill.Metadata; got.Timestamp != "2026-01-01T00:00:00Z" || got.Component.Version != firstVersion {
			t.Errorf("%s: got %+v", name, got)
		}
		var got []string
		for _, c := range bill.Components {
			if len(c.Licenses) != 1 || c.Licenses[0].Expression == "" {
				t.Errorf("%s: %s has the licences %v", name, c.Name, c.Licenses)
			}
			got = append(got, c.Name+" "+c.Version)
		}
		want := []string{"std " + strings.TrimPrefix(strings.Fields(run(t, "go", "version", binary))[1], "go")}
		for _, m := range regexp.MustCompile(`(?m)^\tdep\t(\S+)\t(\S+)`).FindAllStringSubmatch(run(t, "go", "version", "-m", binary), -1) {
			want = append(want, m[1]+" "+m[2])
		}
		slices.Sort(got)
		slices.Sort(want)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: modules in the binary and in the bill differ:\n%s", name, diff)
		}
	}
}

// The changelog is Debian's (Debian Policy 4.6, section 4.4): its head names the version
// that is packed, each change is an item, no line is longer than a terminal.
func TestChangelogIsOfTheVersion(t *testing.T) {
	got := run(t, "sh", "changelog.sh", "1.2.3")
	if !strings.HasPrefix(got, "binwatchd (1.2.3) unstable; urgency=low\n\n  * ") {
		t.Errorf("it begins %.80q", got)
	}
	for line := range strings.Lines(got) {
		if !regexp.MustCompile(`^(binwatchd \(\S+\) unstable; urgency=low|  \* \S.*|    \S.*| -- .+ <\S+>  \w{3}, \d\d \w{3} \d{4} [\d:]{8} \+0000|)\n$`).MatchString(line) || len(line) > 81 && line[1] != '-' {
			t.Errorf("%q is no line of a changelog", line)
		}
	}
}
