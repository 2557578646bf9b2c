# make demo and make test do all the set-up on a fresh machine; make help lists the rest.
GO ?= go
BIN := bin/heardiff
# Runs a command beside a temporary PostgreSQL server, named in HEARDIFF_TEST_POSTGRES.
SERVER := ./trials/postgres/testserver.sh

.PHONY: help build demo test install pictures fuzz lint race release bench bench-peers prove clean setup setup-browser setup-postgres

help: ## list what can be made
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | awk -F':.*## ' '{printf "  make %-12s %s\n", $$1, $$2}'

build: setup ## build bin/heardiff
	$(GO) build -o $(BIN) ./cmd/heardiff

# Where "make install" puts things.
PREFIX ?= $(HOME)/.local

install: build ## the program, its manual pages and completions, into ~/.local (PREFIX=/usr/local for everybody)
	install -d "$(PREFIX)/bin" "$(PREFIX)/share/bash-completion/completions" "$(PREFIX)/share/zsh/site-functions" "$(PREFIX)/share/fish/vendor_completions.d"
	install -m 755 $(BIN) "$(PREFIX)/bin/heardiff"
	$(BIN) man --dir "$(PREFIX)/share/man" --force
	$(BIN) completion bash >"$(PREFIX)/share/bash-completion/completions/heardiff"
	$(BIN) completion zsh >"$(PREFIX)/share/zsh/site-functions/_heardiff"
	$(BIN) completion fish >"$(PREFIX)/share/fish/vendor_completions.d/heardiff.fish"
	@case ":$$PATH:" in *":$(PREFIX)/bin:"*) ;; *) echo 'add to ~/.profile:  export PATH="$(PREFIX)/bin:$$PATH"' ;; esac

demo: build ## the main job once, on invented data: measure, prepare, listen (simulated), link, report
	./$(BIN) demo --dir demo

test: setup setup-browser setup-postgres ## every test, a build without cgo, and vet for other systems
	$(GO) vet ./...
	CGO_ENABLED=0 $(GO) build ./...
	GOOS=windows CGO_ENABLED=0 $(GO) vet ./...
	GOOS=darwin CGO_ENABLED=0 $(GO) vet ./...
	$(SERVER) $(GO) test -timeout 40m ./...

prove: setup setup-browser setup-postgres ## the tests over their full grids (long)
	$(SERVER) $(GO) test -timeout 4h $$(grep -rl --include='*_test.go' 'flag.Bool("full"' . | xargs -n1 dirname | sort -u) -args -full

pictures: demo setup-browser ## the pictures of the README: the listening screen, and the demonstration's report
	@mkdir -p testdata/pictures
	$(GO) test ./cmd/heardiff/internal/screen -run ThePictureIsTheScreen -args -update
	"$$(command -v chromium || command -v chromium-browser)" --headless --no-sandbox --disable-gpu --hide-scrollbars --force-device-scale-factor=0.7 \
	  --window-size=1000,1110 --screenshot="$(CURDIR)/testdata/pictures/report.png" "file://$(CURDIR)/demo/report.html"

FUZZTIME ?= 1m

# Where goroutines take turns, an input looks new each time it is run: unbounded, making it shorter takes a minute in which nothing else is tried.
fuzz: setup ## every fuzz target for a minute (FUZZTIME=1h make fuzz for longer)
	@for f in $$(grep -rl --include='*_test.go' '^func Fuzz' .); do \
	  for t in $$(sed -n 's/^func \(Fuzz[A-Za-z0-9]*\)(.*/\1/p' $$f); do \
	    echo "$$f $$t"; $(GO) test $$(dirname $$f) -run '^$$' -fuzz "^$$t\$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 100x || exit 1; \
	  done; \
	done

lint: setup ## gofmt, vet, staticcheck, known weaknesses
	@test -z "$$(gofmt -l .)" || { gofmt -l .; echo 'lint: run gofmt -w on these'; exit 1; }
	$(GO) vet ./...
	$(GO) run honnef.co/go/tools/cmd/staticcheck@latest ./...
	$(GO) run golang.org/x/vuln/cmd/govulncheck@latest ./...

# Under the race detector arithmetic takes some ten times as long: the measurements run once, in the demonstration, with every goroutine they have.
race: setup setup-postgres ## the race detector: the main job, and the tests of all that is shared (half an hour)
	$(GO) build -race -o $(BIN)-race ./cmd/heardiff
	GORACE=exitcode=66 ./$(BIN)-race demo --dir bin/race
	$(GO) test -race -timeout 2h ./playback/... ./stats/... ./measure/spectrum ./measure/interpolate ./measure/impair ./cmd/heardiff/internal/screen
	$(SERVER) $(GO) test -race -timeout 2h ./trials/...
	$(SERVER) $(GO) test -race -timeout 2h ./cmd/heardiff -run 'Interrupt|Helper|Signals|Stalls|AtOnce|Pipe'

# The systems that programs are made for. Sound needs cgo and ALSA: only the program for the machine's own Linux plays.
SYSTEMS := linux/amd64 linux/arm64 windows/amd64 windows/arm64 darwin/amd64 darwin/arm64
RELEASE := bin/release

release: setup ## programs for Linux, Windows and macOS, vetted, with checksums, in bin/release: the same bytes from the same source and tools
	@rm -rf $(RELEASE) && mkdir -p $(RELEASE)
	@own=$$($(GO) env GOOS)/$$($(GO) env GOARCH); \
	for s in $(SYSTEMS); do \
	  export GOOS=$${s%/*} GOARCH=$${s#*/} CGO_ENABLED=0; \
	  [ $$s != $$own ] || export CGO_ENABLED=1; \
	  name=heardiff-$$GOOS-$$GOARCH; [ $$GOOS != windows ] || name=$$name.exe; \
	  echo "$$name"; \
	  $(GO) vet ./... && $(GO) build -trimpath -buildvcs=true -ldflags '-s -w -buildid=' -o $(RELEASE)/$$name ./cmd/heardiff || exit 1; \
	  $(GO) version -m $(RELEASE)/$$name | grep -q vcs.modified=false || echo "  not the bytes of a clean clone: changed files, or no commit stamped (as in a linked worktree)"; \
	done
	@cd $(RELEASE) && sha256sum heardiff-* >SHA256SUMS && cat SHA256SUMS

bench: setup setup-postgres ## the benchmarks of what a user waits for
	$(SERVER) $(GO) test -timeout 60m -run '^$$' -bench . -benchmem ./...

bench-peers: setup ## ours beside sox, ffmpeg and scipy at the same step, with the ratio (these must be installed)
	GO="$(GO)" .ci/bench-peers

clean: ## remove what was built
	rm -rf bin demo

# The sound library's headers and pkg-config: installed where we may, named where we may not.
setup:
	@command -v $(GO) >/dev/null || { echo 'make: Go 1.26 or newer is needed'; exit 1; }
	@if [ "$$($(GO) env GOOS)" = linux ] && ! { command -v pkg-config >/dev/null && pkg-config --exists alsa && command -v gcc >/dev/null; }; then \
	  $(call install,gcc libc6-dev libasound2-dev pkg-config); fi

# The report is tested in a real browser.
setup-browser:
	@command -v chromium >/dev/null || command -v chromium-browser >/dev/null || { $(call install,chromium); }

# The store is tested against a real server, too.
setup-postgres:
	@command -v initdb >/dev/null || ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || { $(call install,postgresql); }

define install
if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
  echo 'make: installing $(1)'; \
  { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $(1); } >/dev/null || exit 1; \
else \
  echo 'make: these are missing; as an administrator run:  apt-get install $(1)'; exit 1; \
fi
endef
