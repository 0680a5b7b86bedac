package ingest_test

import (
	"crypto/tls"
	"strings"
	"testing"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/certtest"
	"binwatchd/internal/ingest"
)

func TestSourceOverTLS(t *testing.T) {
	local := certtest.NewLocal(t)
	b := brokertest.StartMosquitto(t, brokertest.Options{Cert: local.CertFile, Key: local.KeyFile})
	_, h := source(t, b, func(c *ingest.SourceConfig) { c.TLS = &tls.Config{RootCAs: local.Roots} })
	if l := h.up(); l.Trouble != "" {
		t.Errorf("the link is %+v", l)
	}
	_, h = source(t, b, func(c *ingest.SourceConfig) { c.ClientID = "other" })
	if l := h.down(); !strings.Contains(l.Trouble, "certificate") {
		t.Errorf("an unknown authority gave the trouble %q", l.Trouble)
	}
}
