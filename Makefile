# Targets: deps (fetch what the build embeds), build, test, lint, demo.

GO ?= go
WASM = internal/solid/manifold.wasm
NPM_FLAGS = --omit=dev --omit=optional --omit=peer --ignore-scripts --no-audit --no-fund

.PHONY: all deps build test lint demo

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

build: deps
	$(GO) build ./...

test: deps
	$(GO) test ./...

lint: deps
	test -z "$$(gofmt -l cmd internal demo 2>/dev/null)"
	$(GO) vet ./...
	$(GO) tool staticcheck ./...

demo: build
	@echo "demo: not written yet" >&2; exit 1
