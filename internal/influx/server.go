package influx

import (
	"context"
	"crypto/tls"
	"net/http"
	"net/url"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"
)

// A server is the database at the other end.
type server struct {
	cfg   Config
	write api.WriteAPIBlocking
	http  *http.Client
}

// newServer prepares the client; nothing is sent. The library's blocking
// interface is used because its other one loses data when the server is away.
func newServer(cfg Config) *server {
	s := &server{cfg: cfg, http: &http.Client{
		Transport: cfg.Transport,
		Timeout:   cfg.Pace.Timeout,
		// A redirect would carry the readings, perhaps without their password,
		// to where nobody asked for them.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
	if cfg.Transport == nil {
		s.http.Transport = &http.Transport{
			Proxy: http.ProxyFromEnvironment, IdleConnTimeout: 90 * time.Second, ForceAttemptHTTP2: true,
			TLSClientConfig: &tls.Config{MinVersion: tls.VersionTLS12, Time: cfg.CertTime},
		}
	}
	carrier := doer{client: s.http}
	org, bucket, token := cfg.Org, cfg.Bucket, cfg.Token
	if cfg.Flavour == V1 {
		carrier.rewrite = toV1(cfg)
		org, bucket, token = "", cfg.Database, ""
	}
	o := influxdb2.DefaultOptions().SetApplicationName("binwatchd").SetPrecision(time.Millisecond)
	o.HTTPOptions().SetHTTPDoer(carrier)
	s.write = influxdb2.NewClientWithOptions(cfg.URL, token, o).WriteAPIBlocking(org, bucket)
	return s
}

// post sends lines in one request and says what came of it.
func (s *server) post(ctx context.Context, lines string) answer {
	return judge(s.write.WriteRecord(ctx, lines), s.cfg.Now())
}

// close lets go of the connections.
func (s *server) close() { s.http.CloseIdleConnections() }

// name is the server in a sentence: its host is what a keeper knows it by.
func (s *server) name() string {
	u, err := url.Parse(s.cfg.URL)
	if err != nil { // complete has parsed it before
		return "InfluxDB"
	}
	return "InfluxDB at " + u.Host
}
