package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os/exec"
	"path/filepath"
	"testing"

	"binwatchd/internal/proctest"
)

// startPrometheus runs a Prometheus by a configuration, and gives the address
// that [query] asks.
func startPrometheus(t *testing.T, conf string) (api string) {
	t.Helper()
	addr := proctest.FreeAddr(t)
	cmd := exec.Command("prometheus", "--config.file="+conf, "--storage.tsdb.path="+filepath.Join(t.TempDir(), "data"), "--web.listen-address="+addr)
	c := proctest.Start(t, cmd)
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("prometheus said:\n%s", c.Log)
		}
	})
	return "http://" + addr + "/api/v1/query?query="
}

// query gives the newest value of each series that a query finds, or, of a range, all.
func query(api, text string) (found []string, err error) {
	resp, err := http.Get(api + url.QueryEscape(text))
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	var answer struct {
		Error string
		Data  struct {
			Result []struct {
				Value  []any
				Values [][]any
			}
		}
	}
	if err := json.NewDecoder(resp.Body).Decode(&answer); err != nil {
		return nil, err
	}
	if answer.Error != "" {
		return nil, errors.New(answer.Error)
	}
	for _, r := range answer.Data.Result {
		for _, v := range append(r.Values, r.Value) {
			if len(v) == 2 {
				found = append(found, fmt.Sprint(v[1]))
			}
		}
	}
	return found, nil
}
