// Command sbom prints what a binary of binwatchd is made of as a CycloneDX bill of
// materials (ECMA-424, version 1.6), for those who keep account of what runs where.
// The Makefile lays it beside each package. The modules and their versions are what
// the toolchain noted in the binary; the licences are those of internal/licences.
//
//	sbom BINARY VERSION >FILE.cdx.json
//
// SOURCE_DATE_EPOCH is the time that it carries: the same binary gives the same bill.
package main

import (
	"crypto/sha256"
	"debug/buildinfo"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/licences"
)

type bill struct {
	Schema       string         `json:"$schema"`
	BomFormat    string         `json:"bomFormat"`
	SpecVersion  string         `json:"specVersion"`
	Version      int            `json:"version"`
	Metadata     metadata       `json:"metadata"`
	Components   []component    `json:"components"`
	Dependencies []dependencies `json:"dependencies"`
}

type metadata struct {
	Timestamp string    `json:"timestamp"`
	Component component `json:"component"`
}

type component struct {
	Type     string    `json:"type"`
	Ref      string    `json:"bom-ref"`
	Name     string    `json:"name"`
	Version  string    `json:"version"`
	Hashes   []hash    `json:"hashes,omitempty"`
	Licences []licence `json:"licenses"`
	Purl     string    `json:"purl,omitempty"`
}

type hash struct {
	Alg     string `json:"alg"`
	Content string `json:"content"`
}

type licence struct {
	Expression string `json:"expression"`
}

type dependencies struct {
	Ref       string   `json:"ref"`
	DependsOn []string `json:"dependsOn,omitempty"`
}

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "usage: sbom BINARY VERSION")
		os.Exit(2)
	}
	if err := print(os.Stdout, os.Args[1], os.Args[2], os.Getenv("SOURCE_DATE_EPOCH")); err != nil {
		fmt.Fprintln(os.Stderr, "sbom:", err)
		os.Exit(1)
	}
}

func print(w io.Writer, binary, version, epoch string) error {
	seconds, err := strconv.ParseInt(epoch, 10, 64)
	if err != nil {
		return errors.New("SOURCE_DATE_EPOCH has to say the source's time, in seconds since 1970")
	}
	b, err := of(binary, version)
	if err != nil {
		return err
	}
	b.Metadata.Timestamp = time.Unix(seconds, 0).UTC().Format(time.RFC3339)
	out := json.NewEncoder(w)
	out.SetIndent("", "  ")
	return out.Encode(b)
}

// of reads what is in a binary. A module without a known licence is an error.
func of(binary, version string) (*bill, error) {
	file, err := os.ReadFile(binary)
	if err != nil {
		return nil, err
	}
	info, err := buildinfo.ReadFile(binary)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(file)
	whole := component{Type: "application", Ref: "binwatchd", Name: "binwatchd", Version: version,
		Hashes: []hash{{"SHA-256", hex.EncodeToString(sum[:])}}, Licences: []licence{{"MIT"}}}
	b := &bill{Schema: "http://cyclonedx.org/schema/bom-1.6.schema.json", BomFormat: "CycloneDX", SpecVersion: "1.6", Version: 1,
		Metadata: metadata{Component: whole}, Dependencies: []dependencies{{Ref: whole.Ref}}}
	add := func(module, version string) {
		purl := "pkg:golang/" + strings.ToLower(module) + "@" + version
		b.Components = append(b.Components, component{Type: "library", Ref: purl, Name: module, Version: version, Purl: purl,
			Licences: []licence{{licences.Of(module)}}})
		b.Dependencies[0].DependsOn = append(b.Dependencies[0].DependsOn, purl)
		if licences.Of(module) == "" {
			err = fmt.Errorf("the licence of %s is not known; see internal/licences", module)
		}
	}
	add(licences.Std, strings.TrimPrefix(info.GoVersion, "go"))
	for _, m := range info.Deps {
		add(m.Path, m.Version)
	}
	return b, err
}
