# make test   everything that must hold, as CI runs it
# make bench  figures as ratios, measured in one run
# make pi     release binaries and packages for Raspberry Pi and PC
.POSIX:
.PHONY: test deps lint unit cross emulate bench soak pi clean

GO     = go
STATIC = CGO_ENABLED=0

test: deps lint unit cross emulate

# The servers and the browser that the tests run against.
deps:
	@sh deploy/test-deps.sh

lint:
	@bad=$$(gofmt -l cmd internal); test -z "$$bad" || { echo "gofmt wants to change: $$bad"; exit 1; }
	$(GO) vet ./...
	cd tools && $(GO) build -o ../out/staticcheck honnef.co/go/tools/cmd/staticcheck
	out/staticcheck ./...

unit:
	$(GO) test -race -timeout 9m ./...

# Static binaries for a Pi Zero (GOARM=6), a 64-bit Pi and a PC.
cross:
	$(STATIC) GOOS=linux GOARCH=arm GOARM=6 $(GO) build -trimpath -o out/binwatchd-armhf ./cmd/binwatchd
	$(STATIC) GOOS=linux GOARCH=arm64 $(GO) build -trimpath -o out/binwatchd-arm64 ./cmd/binwatchd
	$(STATIC) GOOS=linux GOARCH=amd64 $(GO) build -trimpath -o out/binwatchd-amd64 ./cmd/binwatchd

# The ARM binaries run the demo's first seconds under an emulator.
emulate: cross
	qemu-arm -cpu arm1176 out/binwatchd-armhf demo --days 2 --for 3s >out/demo-armhf.txt
	qemu-aarch64 out/binwatchd-arm64 demo --days 2 --for 3s >out/demo-arm64.txt

clean:
	rm -rf out dist
