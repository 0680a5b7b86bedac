package influxtest

import (
	"bufio"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"testing"
)

// Victoria is a running victoria-metrics, which takes InfluxDB 2's write
// requests at /api/v2/write. It answers 204 to any of them and keeps both of
// two points of one time.
type Victoria struct {
	*process
	URL string // http://127.0.0.1:port
}

// StartVictoria starts a victoria-metrics that ends with the test and keeps
// points of any age.
func StartVictoria(t testing.TB) *Victoria {
	t.Helper()
	s := &Victoria{}
	s.process = launch(t, func(dir string, port int) *process {
		addr := fmt.Sprintf("127.0.0.1:%d", port)
		s.URL = "http://" + addr
		return &process{name: "victoria-metrics", port: port, ready: s.URL + "/health", args: []string{
			"-httpListenAddr=" + addr, "-storageDataPath=" + dir + "/data", "-retentionPeriod=100y"}}
	})
	return s
}

// A Series is all that a server keeps under one set of labels.
type Series struct {
	Labels map[string]string `json:"metric"`
	Values []float64         `json:"values"`
	Times  []int64           `json:"timestamps"` // ms
}

// Export gives every series that a selector matches, with all its points.
func (s *Victoria) Export(selector string) []Series {
	s.t.Helper()
	s.get("/internal/force_flush", nil) // what was written is not searchable before
	var all []Series
	resp := s.get("/api/v1/export", url.Values{"match[]": {selector}})
	defer resp.Body.Close()
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 1<<28) // a series is one line
	for lines.Scan() {
		var one Series
		if err := json.Unmarshal(lines.Bytes(), &one); err != nil {
			s.t.Fatalf("export %q: %v: %.200s", selector, err, lines.Bytes())
		}
		all = append(all, one)
	}
	if err := lines.Err(); err != nil {
		s.t.Fatalf("export %q: %v", selector, err)
	}
	return all
}

func (s *Victoria) get(path string, query url.Values) *http.Response {
	s.t.Helper()
	resp, err := http.Get(s.URL + path + "?" + query.Encode())
	if err != nil {
		s.t.Fatal(err)
	}
	if resp.StatusCode/100 != 2 {
		s.t.Fatalf("%s: %s", path, resp.Status)
	}
	return resp
}
