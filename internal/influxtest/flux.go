package influxtest

import (
	"encoding/csv"
	"io"
	"net/http"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// buildFlux builds the influxd of tools/influxd, a module of its own, and gives
// its path. Debian's is too old for Flux. The first build takes a few minutes,
// later ones come from Go's cache.
func buildFlux(t testing.TB) string {
	t.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}").Output()
	if err != nil {
		t.Fatalf("find the module: %v", err)
	}
	program := filepath.Join(t.TempDir(), "influxd")
	build := exec.Command("go", "build", "-o", program, "github.com/influxdata/influxdb/cmd/influxd")
	build.Dir = filepath.Join(strings.TrimSpace(string(out)), "tools", "influxd")
	build.Env = append(build.Environ(), "CGO_ENABLED=0")
	if said, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build influxd: %v\n%s", err, said)
	}
	return program
}

// Flux runs a Flux query and gives the rows of all its tables, each a value by
// column. The server must have been started with [Options].Flux.
func (s *Influxd) Flux(query string) []map[string]string {
	s.t.Helper()
	req, err := http.NewRequest(http.MethodPost, s.URL+"/api/v2/query", strings.NewReader(query))
	if err != nil {
		s.t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/vnd.flux")
	req.Header.Set("Accept", "application/csv")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		s.t.Fatalf("flux: %v", err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		s.t.Fatalf("flux %q: %s, %v: %s", query, resp.Status, err, body)
	}
	return fluxRows(s.t, string(body))
}

// fluxRows reads the answer: tables of CSV, each with a header below its
// annotations, parted by empty lines.
func fluxRows(t testing.TB, answer string) []map[string]string {
	t.Helper()
	var rows []map[string]string
	for table := range strings.SplitSeq(strings.ReplaceAll(answer, "\r\n", "\n"), "\n\n") {
		lines := csv.NewReader(strings.NewReader(table))
		lines.Comment = '#'
		records, err := lines.ReadAll()
		if err != nil {
			t.Fatalf("flux answered %q: %v", table, err)
		}
		for _, record := range records[min(1, len(records)):] {
			row := map[string]string{}
			for i, v := range record {
				row[records[0][i]] = v
			}
			if row["error"] != "" {
				t.Fatalf("flux: %s", row["error"])
			}
			rows = append(rows, row)
		}
	}
	return rows
}
