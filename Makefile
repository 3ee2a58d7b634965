# make demo   the main job on the demo; results in demo/out
# make test   every check; .ci/run does just this
# make build  bin/mouldwright
# make bench  the benchmarks (minutes)
# make fuzz   new hostile input for every reader, FUZZTIME (10m) in all
# make licences   the licence texts in the program, after modules or packages changed
# make deps   what the build embeds; make testdeps: what only the checks need

GO ?= go
WASM = internal/solid/manifold.wasm
UI = internal/web/ui
PAGE = $(UI)/dist/index.html
MESHES = bench/realmeshes/node_modules/.package-lock.json
NPM_FLAGS = --omit=dev --omit=optional --omit=peer --ignore-scripts --no-audit --no-fund
# Debian packages that only the checks use: a second opinion on meshes, meshes nobody here made, a database
# server for the records, readers of the PDFs and QR codes that are printed, and a browser.
DEBIAN = admesh assimp-utils assimp-testmodels postgresql poppler-utils zbar-tools chromium

.PHONY: all deps testdeps build test lint demo bench realmeshes stepping load licences fuzz

all: build

# The boolean library comes as an npm package; only its WebAssembly module is used, embedded in the
# Go binary. It is never committed.
deps: $(WASM)

$(WASM): node_modules/manifold-3d/manifold.wasm
	cp $< $@.tmp
	mv $@.tmp $@

node_modules/manifold-3d/manifold.wasm: package.json package-lock.json
	npm ci $(NPM_FLAGS)
	touch $@

testdeps: $(MESHES)
	@missing=$$(for p in $(DEBIAN); do dpkg-query -W -f='$${Status}' $$p 2>/dev/null | grep -q 'ok installed' || echo $$p; done); \
	if [ -n "$$missing" ]; then \
		if [ "$$(id -u)" -ne 0 ]; then echo "install first: sudo apt-get install $$missing" >&2; exit 1; fi; \
		apt-get update && DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends $$missing; \
	fi

$(MESHES): bench/realmeshes/package.json bench/realmeshes/package-lock.json
	cd bench/realmeshes && npm ci $(NPM_FLAGS)
	touch $@

# The page of the web app, embedded in the binary; never committed.
$(PAGE): $(UI)/node_modules/.package-lock.json $(UI)/vite.config.ts $(UI)/tsconfig.json $(wildcard $(UI)/*.html $(UI)/src/* $(UI)/src/*/* $(UI)/public/*)
	cd $(UI) && npm run check && npm run build

$(UI)/node_modules/.package-lock.json: $(UI)/package.json $(UI)/package-lock.json
	cd $(UI) && npm ci --ignore-scripts --no-audit --no-fund
	touch $@

# One file that needs no other, the same bytes wherever it is built, marked with what it was made of.
VERSION ?= $(shell git describe --tags --always --dirty 2>/dev/null)
build: deps $(PAGE)
	flags="$$($(GO) run ./internal/buildinfo/stamp -version '$(VERSION)')" && \
	CGO_ENABLED=0 $(GO) build -trimpath -ldflags "$$flags" -o bin/mouldwright ./cmd/mouldwright

# The licence texts that the program carries, made anew from the modules and packages.
licences: deps $(UI)/node_modules/.package-lock.json
	$(GO) run ./internal/licences/gather

# Properties draw their cases from SEED, so that a check says the same of the same code each time; SEED=0
# draws new ones. -timeout guards against a hang; it is not a speed test.
SEED ?= 1
DRAWS = {{$$p := .ImportPath}}{{range .TestImports}}{{if eq . "pgregory.net/rapid"}}{{$$p}}{{end}}{{end}}{{range .XTestImports}}{{if eq . "pgregory.net/rapid"}} {{$$p}}{{end}}{{end}}
test: lint testdeps $(PAGE)
	@drawing=$$($(GO) list -f '$(DRAWS)' ./... | tr ' ' '\n' | grep . | sort -u); \
	others=$$($(GO) list ./... | grep -vxF "$$drawing"); \
	CI=true $(GO) test -timeout 20m $$others && CI=true $(GO) test -timeout 20m $$drawing -rapid.seed=$(SEED)

lint: deps
	@files=$$(gofmt -l cmd internal demo bench); if [ -n "$$files" ]; then echo "gofmt needed:" $$files >&2; exit 1; fi
	$(GO) vet ./...
	$(GO) tool staticcheck ./...

demo: build
	GO="$(GO)" demo/demo.sh

bench: deps
	$(GO) test -run '^$$' -bench . -benchtime 1x -timeout 60m ./...

# The table of docs/realmeshes.md, made anew.
realmeshes: build testdeps
	$(GO) run ./bench/realmeshes

# The opening proof held against stepping with booleans; the result stands in docs/opening.md.
stepping: build testdeps
	$(GO) run ./bench/stepping

# 200 clients at once for a minute; the figures stand in docs/api.md.
load: deps $(PAGE)
	$(GO) run ./bench/load

# New hostile input for everything that reads what strangers send, FUZZTIME seconds in all. What is found to fail is
# kept by Go beside the test and fails `make test` from then on; the seeds in testdata/fuzz came from such runs.
FUZZTIME ?= 600
fuzz: deps
	GO="$(GO)" bench/fuzz.sh $(FUZZTIME)
