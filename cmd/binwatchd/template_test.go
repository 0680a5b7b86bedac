package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"binwatchd/internal/proctest"
)

// A real InfluxDB 2 takes the template, has the dashboard with all its cells and the
// variables that they ask by, and takes it once more over what is there. INFLUXD2 names the server that make
// ecosystem builds; without it there is nothing to apply to.
func TestTemplateIsApplied(t *testing.T) {
	server := os.Getenv("INFLUXD2")
	if server == "" {
		t.Skip("INFLUXD2 names no server: make ecosystem builds one")
	}
	dir, addr := t.TempDir(), proctest.FreeAddr(t)
	run, err := proctest.TryStart(t, exec.Command(server, "run", "--reporting-disabled", "--http-bind-address", addr,
		"--bolt-path", filepath.Join(dir, "bolt"), "--sqlite-path", filepath.Join(dir, "sqlite"), "--engine-path", filepath.Join(dir, "engine")))
	if err != nil {
		t.Fatal(err)
	}
	const token = "a-token-that-only-this-test-knows"
	call := func(method, path string, body, into any) error {
		text, err := json.Marshal(body)
		if err != nil {
			return err
		}
		req, err := http.NewRequest(method, "http://"+addr+path, bytes.NewReader(text))
		if err != nil {
			return err
		}
		req.Header.Set("Authorization", "Token "+token)
		req.Header.Set("Content-Type", "application/json")
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			return err
		}
		defer resp.Body.Close()
		said, err := io.ReadAll(resp.Body)
		if err == nil && resp.StatusCode/100 != 2 {
			err = fmt.Errorf("%s %s: %s: %.2000s", method, path, resp.Status, said)
		}
		if err == nil && into != nil {
			err = json.Unmarshal(said, into)
		}
		return err
	}
	if err := run.Ready(func() bool { return call("GET", "/health", nil, nil) == nil }); err != nil {
		t.Fatal(err)
	}
	var made struct{ Org struct{ ID string } }
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(call("POST", "/api/v2/setup", map[string]any{"username": "keeper", "password": "compost-worms", "org": "hillfoot", "bucket": "bins", "token": token}, &made))
	out, code := runChild(t, "dashboard", "influx2")
	if code != 0 {
		t.Fatalf("dashboard influx2: exit %d", code)
	}
	charts := 0
	var template []struct {
		Kind string
		Spec struct{ Charts []any }
	}
	must(json.Unmarshal([]byte(out), &template))
	for _, r := range template {
		charts += len(r.Spec.Charts)
	}
	var stack struct{ StackID string }
	must(call("POST", "/api/v2/templates/apply", map[string]any{"orgID": made.Org.ID, "template": map[string]any{"contentType": "json", "contents": json.RawMessage(out)}}, &stack))
	must(call("POST", "/api/v2/templates/apply", map[string]any{"orgID": made.Org.ID, "stackID": stack.StackID, "template": map[string]any{"contentType": "json", "contents": json.RawMessage(out)}}, nil))

	var boards struct {
		Dashboards []struct {
			Name  string
			Cells []any
		}
	}
	must(call("GET", "/api/v2/dashboards?orgID="+made.Org.ID, nil, &boards))
	if len(boards.Dashboards) != 1 || boards.Dashboards[0].Name != "Worm bins" || len(boards.Dashboards[0].Cells) != charts || charts < 20 {
		t.Errorf("the server has %+v; want one dashboard of %d cells", boards, charts)
	}
	var choices struct{ Variables []struct{ Name string } }
	must(call("GET", "/api/v2/variables?orgID="+made.Org.ID, nil, &choices))
	if len(choices.Variables) != 4 {
		t.Errorf("the server has the variables %v, want four", choices.Variables)
	}
}
