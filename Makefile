# make test   everything that must hold, as CI runs it
# make bench  figures as ratios, measured in one run
# make test-busy  the tests five times in a row, while another process keeps one processor busy
# make soak   everything that can go wrong, again and again for SOAK=10m
# make ecosystem  what is held against programs that have to be fetched first
# make pictures  the pictures of README and the docs, taken anew of the demo
# make pi     release binaries and packages for Raspberry Pi and PC
# make powercut  as root: a machine whose power is cut, and what is left on its disk
# make month  as root: a month of readings in that machine, in two hours, with all that goes wrong in one
# make try-unit  as root: the package and its unit under a real systemd, thrown away
.POSIX:
.PHONY: test ecosystem test-busy deps lint unit cross emulate bench soak pictures pi clean
.PHONY: binary-armhf binary-arm64 binary-amd64 deb-armhf deb-arm64 deb-amd64 packager papers try-unit powercut month

GO      = go
OUT     = $$PWD/out
DIST    = $$PWD/dist
STATIC  = CGO_ENABLED=0 GOOS=linux
BUILD   = $(GO) build -trimpath -ldflags "-s -w -X main.version=$(VERSION)"
VERSION = $$(sh deploy/version.sh)
# The same commit gives the same package, to the byte.
PACKAGE = PACKAGE_VERSION=$(VERSION) PACKAGE_PAPERS=$(OUT) SOURCE_DATE_EPOCH=$$(sh deploy/version.sh --epoch) \
	$(OUT)/nfpm package --config deploy/nfpm.yaml --packager deb --target $(DIST)/

SBOM    = CGO_ENABLED=0 SOURCE_DATE_EPOCH=$$(sh deploy/version.sh --epoch) $(GO) run -trimpath ./deploy/sbom

test: deps lint cross unit emulate

# The servers and the browser that the tests run against.
deps:
	@sh deploy/test-deps.sh

# With the flags of the PC binary, so that a fresh machine compiles once for both.
lint: export CGO_ENABLED = 0
lint: export GOFLAGS = -trimpath
lint: export GOGC = 400
lint:
	@bad=$$(gofmt -l cmd deploy internal); test -z "$$bad" || { echo "gofmt wants to change: $$bad"; exit 1; }
	$(GO) vet ./...
	cd tools && $(GO) build -o ../out/ honnef.co/go/tools/cmd/staticcheck golang.org/x/tools/cmd/deadcode
	out/staticcheck ./...
	@dead=$$(out/deadcode ./cmd/... ./deploy/...) || exit 1; test -z "$$dead" || { echo "only tests call these:"; echo "$$dead"; exit 1; }

# What has tests that the race detector would only make long.
UNRACED = ./internal/acceptancetest ./internal/demo ./internal/ingest ./internal/rehearse ./internal/rules ./internal/trend

# The race detector looks on, but not into SQLite's engine, which is C that was
# translated into Go: it takes three quarters of such a test's time there. The rest of
# modernc.org is looked into: the linker may take a generic function from any package
# that was compiled with it.
RACED = -race -trimpath -gcflags=modernc.org/sqlite/lib=-race=false -ldflags=-w

# Both at once, and three packages at once on two processors: some mostly wait for a
# server or a browser.
unit:
	@mkdir -p out
	GOGC=400 CGO_ENABLED=0 $(GO) test -trimpath -p 1 $(AGAIN) -timeout 60m $(UNRACED) >out/unraced.txt 2>&1 & other=$$!; bad=0; \
	$(GO) test $(RACED) -p 3 $(AGAIN) -parallel 8 -timeout 60m ./... || bad=1; \
	wait $$other || bad=1; echo "without the race detector:"; cat out/unraced.txt; exit $$bad

# A machine that has other things to do must not turn a test red. TIMES=1 for a
# quick look.
test-busy: deps lint
	@sh -c 'while :; do :; done' & busy=$$!; trap "kill $$busy" EXIT; \
	for n in $$(seq $${TIMES:-5}); do \
		echo "busy run $$n"; $(MAKE) unit AGAIN=-count=1 || exit 1; \
	done

# The tests' own round of stops, kills and full disks, for longer: make soak
# SOAK=8h. CHAOS_SEED=... repeats an order. It prints how many kills there were, at what
# and at what pace: some hundred a minute on two processors that are free, 10,000 in a night.
soak: deps
	SOAK=1 WARM_CASES=20 FEED_CASES=20 $(GO) test -count=1 -timeout 0 ./internal/...
	WARM_CASES=200 $(GO) test -count=1 -timeout 0 -run '^TestWhatWarmsABin' ./internal/acceptancetest
	SOAK=$${SOAK:-10m} $(GO) test $(RACED) -count=1 -timeout 0 -v -run '^(TestChaos|TestKilledAtRandomMoments|TestKilledWhileBinsAreGathered)$$' ./cmd/binwatchd

# The dashboards against the types that Grafana publishes; the packages against Debian's
# own checks, their bills of materials against CycloneDX's schema, every page against
# WCAG as axe-core tests it and HTML as html-validate reads it, and, where this is root
# with overlayfs, an installation in a bare chroot.
ecosystem: pi
	sh deploy/test-deps.sh ecosystem
	lintian --allow-root --fail-on error,warning $(DIST)/binwatchd_$(VERSION)_*.deb
	mandoc -T lint -W warning deploy/binwatchd.1
	mkdir -p out/standards
	cp tools/standards/* out/standards/
	cd out/standards && npm install --ignore-scripts --no-audit --no-fund --no-package-lock --silent
	node out/standards/bill.mjs $(DIST)/binwatchd_$(VERSION)_*.cdx.json
	node out/standards/page.mjs $(OUT)/binwatchd-amd64
	[ "$$(id -u)" != 0 ] || sh deploy/try-chroot.sh $(DIST)/binwatchd_$(VERSION)_amd64.deb
	mkdir -p out/grafana
	cp tools/grafana/* out/grafana/
	cd out/grafana && npm install --ignore-scripts --no-audit --no-fund --no-package-lock --silent
	GO=$(GO) tools/calendar/khal.sh
	rm -rf out/export && mkdir -p out/export
	EXPORT_OUT=$$PWD/out/export $(GO) test -count=1 -run '^TestExportedTablesAreReadElsewhere$$' ./cmd/binwatchd
	/usr/bin/python3 tools/export/read.py out/export
	mkdir -p out/pictures
	PICTURES=$$PWD/out/pictures $(GO) test -count=1 -run '^TestPictures$$' ./cmd/binwatchd
	for f in deploy/dashboards/grafana-*.json; do node out/grafana/check.mjs $$f || exit 1; done
	sh tools/influxd2/build.sh out/influxd2
	INFLUXD2=$$PWD/out/influxd2 $(GO) test -count=1 -run '^TestTemplateIsApplied$$' ./cmd/binwatchd

# Figures, each a ratio or a cost measured in one run: what the daemon costs, and
# how well trouble is told (recall, lead, coverage, notices a week). Some twenty
# minutes on a machine that does nothing else.
bench: deps
	@$(GO) run ./internal/bench

# Look at them before they are committed.
pictures: deps
	PICTURES=$$PWD/docs $(GO) test -count=1 -run '^TestPictures$$' ./cmd/binwatchd
	$(GO) test -count=1 -run '^TestPicture' ./internal/demo -update

# Static binaries for a Pi Zero (GOARM=6), a 64-bit Pi and a PC.
cross: binary-armhf binary-arm64 binary-amd64

binary-armhf:
	$(STATIC) GOARCH=arm GOARM=6 $(BUILD) -o $(OUT)/binwatchd-armhf ./cmd/binwatchd

binary-arm64:
	$(STATIC) GOARCH=arm64 $(BUILD) -o $(OUT)/binwatchd-arm64 ./cmd/binwatchd

binary-amd64:
	$(STATIC) GOARCH=amd64 $(BUILD) -o $(OUT)/binwatchd-amd64 ./cmd/binwatchd

# Packages for Raspberry Pi OS and Debian, in dist/, and beside each what it is made of.
pi: deb-armhf deb-arm64 deb-amd64

deb-armhf: binary-armhf packager papers
	PACKAGE_ARCH=arm6 PACKAGE_BINARY=$(OUT)/binwatchd-armhf $(PACKAGE)
	$(SBOM) $(OUT)/binwatchd-armhf $(VERSION) >$(DIST)/binwatchd_$(VERSION)_armhf.cdx.json

deb-arm64: binary-arm64 packager papers
	PACKAGE_ARCH=arm64 PACKAGE_BINARY=$(OUT)/binwatchd-arm64 $(PACKAGE)
	$(SBOM) $(OUT)/binwatchd-arm64 $(VERSION) >$(DIST)/binwatchd_$(VERSION)_arm64.cdx.json

deb-amd64: binary-amd64 packager papers
	PACKAGE_ARCH=amd64 PACKAGE_BINARY=$(OUT)/binwatchd-amd64 $(PACKAGE)
	$(SBOM) $(OUT)/binwatchd-amd64 $(VERSION) >$(DIST)/binwatchd_$(VERSION)_amd64.cdx.json

try-unit: deb-amd64
	sh deploy/try-unit.sh $(DIST)/binwatchd_$(VERSION)_amd64.deb

# Debian itself is fetched once, into out/powercut. POWERCUT="-points 100 -kills 10" for less; what else there is: go run ./internal/powercuttest -h.
powercut: deb-amd64
	@sh deploy/test-deps.sh machine
	$(GO) run ./internal/powercuttest -deb $(DIST)/binwatchd_$(VERSION)_amd64.deb $$POWERCUT

# MONTH=1h for less time. POWERCUT="-here" where no machine can be had: systemd in namespaces then.
month: deb-amd64
	@sh deploy/test-deps.sh machine
	$(GO) run ./internal/powercuttest -deb $(DIST)/binwatchd_$(VERSION)_amd64.deb -month $${MONTH:-2h} $$POWERCUT

packager:
	mkdir -p $(DIST)
	CGO_ENABLED=0 $(GO) build -C tools -trimpath -o $(OUT)/nfpm github.com/goreleaser/nfpm/v2/cmd/nfpm

# What the package brings to be read: by people and by editors.
papers:
	mkdir -p $(OUT)
	gzip -9nc deploy/binwatchd.1 >$(OUT)/binwatchd.1.gz
	sh deploy/changelog.sh $(VERSION) | gzip -9nc >$(OUT)/changelog.gz
	gzip -9nc internal/licences/notices.txt >$(OUT)/NOTICES.gz
	{ cat LICENSE; echo; echo "What others have written of the program is under the licences in NOTICES.gz."; } >$(OUT)/copyright
	CGO_ENABLED=0 $(GO) run -trimpath ./cmd/binwatchd check --schema >$(OUT)/schema.json

# The ARM binaries run the demo's first seconds under an emulator.
emulate: cross
	qemu-arm -cpu arm1176 out/binwatchd-armhf demo --days 2 --for 3s >out/demo-armhf.txt
	qemu-aarch64 out/binwatchd-arm64 demo --days 2 --for 3s >out/demo-arm64.txt

clean:
	rm -rf out dist
