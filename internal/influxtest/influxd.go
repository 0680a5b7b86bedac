package influxtest

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"testing"

	"binwatchd/internal/proctest"
)

// Options shape an influxd.
type Options struct {
	// Auth makes the server ask for a user and a password; an administrator
	// [Admin] with password [AdminPassword] is created.
	Auth bool
	// MaxBody is the largest request body the server takes, in bytes; 0 leaves
	// the server's default of 25 MB.
	MaxBody int
	// Flux starts a 1.8, which knows the Flux language and the paths of InfluxDB
	// 2, instead of Debian's. It is built from tools/influxd.
	Flux bool
}

// The administrator of a server started with Auth.
const (
	Admin         = "keeper"
	AdminPassword = "compost"
)

// Influxd is a running influxd 1.x.
type Influxd struct {
	*process
	URL  string // http://127.0.0.1:port
	auth bool
}

// StartInfluxd starts an influxd that ends with the test. No database exists
// yet: see [Influxd.Do].
func StartInfluxd(t testing.TB, o Options) *Influxd {
	t.Helper()
	s := &Influxd{}
	program := "influxd"
	if o.Flux {
		program = buildFlux(t)
	}
	s.process = launch(t, func(dir string, port int) *process {
		s.URL = fmt.Sprintf("http://127.0.0.1:%d", port)
		conf := filepath.Join(dir, "influxd.conf")
		if err := os.WriteFile(conf, influxdConf(dir, port, proctest.FreePort(t), o), 0o600); err != nil {
			t.Fatal(err)
		}
		return &process{name: program, args: []string{"run", "-config", conf}, port: port, ready: s.URL + "/ping"}
	})
	if o.Auth {
		s.Do(fmt.Sprintf(`CREATE USER %q WITH PASSWORD '%s' WITH ALL PRIVILEGES`, Admin, AdminPassword))
		s.auth = true
	}
	return s
}

func influxdConf(dir string, port, rpc int, o Options) []byte {
	maxBody := 25_000_000
	if o.MaxBody > 0 {
		maxBody = o.MaxBody
	}
	return fmt.Appendf(nil, `reporting-enabled = false
bind-address = "127.0.0.1:%d"
[meta]
  dir = "%[2]s/meta"
[data]
  dir = "%[2]s/data"
  wal-dir = "%[2]s/wal"
  query-log-enabled = false
[monitor]
  store-enabled = false
[subscriber]
  enabled = false
[continuous_queries]
  enabled = false
[http]
  bind-address = "127.0.0.1:%d"
  auth-enabled = %t
  log-enabled = false
  max-body-size = %d
  flux-enabled = %t
`, rpc, dir, port, o.Auth, maxBody, o.Flux)
}

// Do runs a statement of the server's query language and gives the first
// table of the answer, row by row; it is empty when the answer has none.
func (s *Influxd) Do(statement string) [][]any { s.t.Helper(); return s.Query("", statement) }

// Query is [Influxd.Do] inside a database, with times in milliseconds.
func (s *Influxd) Query(database, statement string) [][]any {
	s.t.Helper()
	ask := url.Values{"q": {statement}, "db": {database}, "epoch": {"ms"}}
	req, err := http.NewRequest(http.MethodPost, s.URL+"/query?"+ask.Encode(), nil)
	if err != nil {
		s.t.Fatal(err)
	}
	if s.auth {
		req.SetBasicAuth(Admin, AdminPassword)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		s.t.Fatalf("query %q: %v", statement, err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		s.t.Fatalf("query %q: %v", statement, err)
	}
	rows, err := firstTable(body)
	if err != nil {
		s.t.Fatalf("query %q: %v: %s", statement, err, body)
	}
	return rows
}

func firstTable(body []byte) ([][]any, error) {
	var answer struct {
		Error   string
		Results []struct {
			Error  string
			Series []struct{ Values [][]any }
		}
	}
	if err := json.Unmarshal(body, &answer); err != nil {
		return nil, err
	}
	if answer.Error != "" {
		return nil, fmt.Errorf("refused: %s", answer.Error)
	}
	for _, r := range answer.Results {
		if r.Error != "" {
			return nil, fmt.Errorf("refused: %s", r.Error)
		}
		for _, table := range r.Series {
			return table.Values, nil
		}
	}
	return nil, nil
}

// Count gives how many points of a measurement have the field.
func (s *Influxd) Count(database, measurement, field string) int {
	s.t.Helper()
	rows := s.Query(database, fmt.Sprintf("SELECT COUNT(%q) FROM %q", field, measurement))
	if len(rows) == 0 {
		return 0
	}
	return int(rows[0][1].(float64))
}
