#!/bin/sh
# Builds an InfluxDB 2 that knows no Flux: build.sh OUT. The part that reads Flux is Rust
# and comes as source alone; what stands in for it is in libflux/ and runtime/. Writing,
# InfluxQL, templates and dashboards are the server's own. It takes some minutes and a C
# compiler.
set -eu
mkdir -p "$(dirname "$1")"
out=$(cd "$(dirname "$1")" && pwd)/$(basename "$1")
cd "$(dirname "$0")"
go mod download
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cp -R "$(go list -m -f '{{.Dir}}' github.com/influxdata/flux)" "$work/flux"
chmod -R u+w "$work/flux"
rm "$work"/flux/libflux/go/libflux/analyze.go "$work"/flux/libflux/go/libflux/parser.go "$work"/flux/libflux/go/libflux/link_*.go
cp libflux/libflux.go "$work/flux/libflux/go/libflux/"
cp runtime/lookup.go "$work/flux/runtime/"
# Nothing checks that the builtins are those of the Rust part.
sed -i 's/^\tr\.finalized = true$/&\n\tif true {\n\t\treturn nil\n\t}/' "$work/flux/runtime/runtime.go"
cp go.mod "$work/influxd.mod"
cp go.sum "$work/influxd.sum"
echo "replace github.com/influxdata/flux => $work/flux" >>"$work/influxd.mod"
CGO_ENABLED=1 go build -mod=mod -modfile "$work/influxd.mod" -o "$out" github.com/influxdata/influxdb/v2/cmd/influxd
