# Two commands do everything: make demo, make test.
GO ?= go
VERSION := $(shell git describe --always --dirty 2>/dev/null || echo unknown)
LDFLAGS := -s -w -X main.Version=$(VERSION)
# What a fresh Debian 12 with Go and gcc lacks: PortAudio, speexdsp, PocketSphinx and its
# model, the speech engine of the demo, and what the tests measure with.
PACKAGES := pkg-config portaudio19-dev libspeexdsp-dev libpocketsphinx-dev pocketsphinx-en-us flite
TEST_PACKAGES := sox opus-tools sndfile-programs pulseaudio pulseaudio-utils libasound2-plugins age systemd sqlite3 chromium poppler-utils g++
SUDO := $(shell [ $$(id -u) = 0 ] || echo sudo)

STATICCHECK := honnef.co/go/tools/cmd/staticcheck@v0.8.2
# Packages that start goroutines; a test holds the list. The PortAudio binding keeps a
# number where a pointer is expected, which the race detector takes for a bad pointer.
RACE := ./audio/audiotest ./audio/device ./cmd/coxswain/again ./cmd/coxswain/monitor ./cmd/coxswain/outbox ./cmd/coxswain/rig ./cmd/coxswain/session ./cmd/coxswain/web ./intents ./timeline/record

.PHONY: fuzz demo test units races lint build deps test-deps bench soak install uninstall package deb deb-test arm64 clean

demo: build build/demo.wav
	@rm -rf build/demo-record
	@build/coxswain replay build/demo.wav --out build/demo-record
	@echo
	@build/coxswain timeline build/demo-record
	@echo
	@build/coxswain verify build/demo-record
	@echo "The record lies in build/demo-record. Look at it and listen to it:"
	@echo "  build/coxswain review build/demo-record"

build: deps
	@mkdir -p build
	$(GO) build -trimpath -ldflags "$(LDFLAGS)" -o build/coxswain ./cmd/coxswain
	$(GO) build -trimpath -ldflags "-s -w" -o build/coxswain-pocketsphinx ./cmd/coxswain-pocketsphinx

build/demo.wav: testdata/demo.scene cmd/scene/main.go
	$(GO) run ./cmd/scene testdata/demo.scene $@

# One after the other: side by side they keep each other's virtual sound cards waiting. vet
# comes first: it compiles what all of them need, and says more than the tests' own.
test: deps test-deps
	$(GO) vet ./...
	@$(MAKE) --no-print-directory units
	@$(MAKE) --no-print-directory races
	@$(MAKE) --no-print-directory lint

units:
	$(GO) test -vet off -ldflags "-s -w" -timeout 20m ./...

races:
	$(GO) test -vet off -ldflags "-s -w" -timeout 20m -race -gcflags=github.com/gordonklaus/portaudio=-d=checkptr=0 -short $(RACE)

lint:
	$(GO) run $(STATICCHECK) ./...
	cd timeline/review/parquettest && $(GO) test -mod=mod ./...

bench: deps
	$(GO) test -run xxx -bench . ./...

# Every fuzz target for FUZZTIME each. Without the limit on minimising, the engine
# spends up to a minute on each new input and tries nothing meanwhile.
FUZZTIME ?= 20s
fuzz: deps
	@for f in $$(grep -rl --include=*_test.go '^func Fuzz' . | xargs -n1 dirname | sort -u); do \
	  for t in $$(grep -ho '^func Fuzz[A-Za-z0-9]*' $$f/*_test.go | cut -c6-); do \
	    echo $$f $$t; $(GO) test $$f -run xxx -fuzz "^$$t$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 10x || exit 1; \
	  done; done

# 8 h of session and 24 h of silence in accelerated time, 1,000 SIGKILLs, 200 stops, 10 min
# beside busy loops, the store: about an hour and a half.
soak: deps test-deps
	SOAK=1 $(GO) test -p 1 -timeout 150m -v -run 'TestLongSession|TestKill|TestClockOfAStoppedProcess|TestServerDies|TestNetworkCut|TestFleet|TestSilentDay|TestBusyMachine|TestDemo|TestOwnSound' ./cmd/coxswain/...

# What is installed, by hand or as a package. The unit works without its settings.
PREFIX ?= /usr/local
package: build
	@mkdir -p build/package
	cp build/coxswain build/coxswain-pocketsphinx build/package/
	build/coxswain service | sed 's,/usr/local/bin/,$(PREFIX)/bin/,' > build/package/coxswain.service
	(echo '# Settings of coxswain, with their defaults. Take away the first "#" of what you change.'; \
		build/coxswain config | sed 's/^/#/') > build/package/coxswain.yaml

install: package
	install -D -m 755 -t $(DESTDIR)$(PREFIX)/bin build/package/coxswain build/package/coxswain-pocketsphinx
	install -D -m 644 -t $(DESTDIR)/etc/systemd/system build/package/coxswain.service
	[ -e $(DESTDIR)/etc/coxswain.yaml ] || install -D -m 644 -t $(DESTDIR)/etc build/package/coxswain.yaml
	[ -n "$(DESTDIR)" ] || sh cmd/coxswain/install/postinst.sh
	@echo "Check it first: coxswain check. Then: systemctl enable --now coxswain"

# Records and settings stay.
uninstall:
	[ -n "$(DESTDIR)" ] || sh cmd/coxswain/install/prerm.sh remove
	rm -f $(DESTDIR)$(PREFIX)/bin/coxswain $(DESTDIR)$(PREFIX)/bin/coxswain-pocketsphinx $(DESTDIR)/etc/systemd/system/coxswain.service
	[ -n "$(DESTDIR)" ] || sh cmd/coxswain/install/postrm.sh remove

NFPM := github.com/goreleaser/nfpm/v2/cmd/nfpm@v2.43.4
DEB_VERSION := 0.1+git$(shell git show -s --format=%cd.%h --date=format:%Y%m%d.%H%M%S 2>/dev/null || echo 0)
deb: PREFIX = /usr
deb: package
	rm -f build/*.deb
	ARCH=$$(dpkg --print-architecture) VERSION=$(DEB_VERSION) $(GO) run $(NFPM) package -f cmd/coxswain/install/nfpm.yaml -p deb -t build/

# Installs the package in a bare Debian 12, runs it, removes it. Needs root.
deb-test: deb
	@dpkg -s debootstrap >/dev/null 2>&1 || ($(SUDO) apt-get update && $(SUDO) apt-get install -y --no-install-recommends debootstrap)
	$(GO) test -count 1 -v -timeout 30m -run TestDebianPackage ./cmd/coxswain

# For a 64-bit ARM box: built against Debian's libraries for it, tried under qemu. Needs root.
ARM := $(CURDIR)/build/arm64
ARM_PACKAGES := debootstrap gcc-aarch64-linux-gnu qemu-user-static
arm64:
	@dpkg -s $(ARM_PACKAGES) >/dev/null 2>&1 || ($(SUDO) apt-get update && $(SUDO) apt-get install -y --no-install-recommends $(ARM_PACKAGES))
	@[ -e $(ARM)/root/usr/include/portaudio.h ] || ($(SUDO) debootstrap --arch=arm64 --foreign --variant=minbase \
		--include=libc6-dev,portaudio19-dev,libspeexdsp-dev bookworm $(ARM)/root && \
		for d in $(ARM)/root/var/cache/apt/archives/*.deb; do $(SUDO) dpkg-deb -x $$d $(ARM)/root; done)
	CGO_ENABLED=1 GOARCH=arm64 CC="aarch64-linux-gnu-gcc --sysroot=$(ARM)/root" PKG_CONFIG_SYSROOT_DIR=$(ARM)/root \
		PKG_CONFIG_LIBDIR=$(ARM)/root/usr/lib/aarch64-linux-gnu/pkgconfig \
		$(GO) build -trimpath -ldflags "$(LDFLAGS)" -o build/arm64/coxswain ./cmd/coxswain
	$(GO) test -count 1 -v -run TestARM64 ./cmd/coxswain

deps:
	@dpkg -s $(PACKAGES) >/dev/null 2>&1 || ($(SUDO) apt-get update && $(SUDO) apt-get install -y --no-install-recommends $(PACKAGES))

test-deps:
	@dpkg -s $(TEST_PACKAGES) >/dev/null 2>&1 || ($(SUDO) apt-get update && $(SUDO) apt-get install -y --no-install-recommends $(TEST_PACKAGES))

clean:
	rm -rf build
