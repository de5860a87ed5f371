# Everything people type. `make test` is what a change must pass.

GOTOOLCHAIN := $(shell sed -n 's/^toolchain //p' go.mod)
export GOTOOLCHAIN

.PHONY: run test build fuzz bench cover mutate

run: ## the product on a temporary base with the invented club
	go run ./cmd/rankwright demo

test: ## all checks; on a Debian machine as root it installs what they need
	./check.sh

build: ## one static binary, bin/rankwright
	CGO_ENABLED=0 go build -trimpath -ldflags "-s -w" -o bin/rankwright ./cmd/rankwright

fuzz: ## each fuzz target for FUZZ_SECONDS (60)
	./check.sh fuzz $(or $(FUZZ_SECONDS),60)

bench: ## all benchmarks, with memory
	go test -run '^$$' -bench . -benchmem ./...

cover: ## which lines the tests reach, as cover.html
	go test -coverpkg ./... -coverprofile cover.out ./...
	go tool cover -func cover.out | tail -1
	go tool cover -html cover.out -o cover.html

mutate: ## does a test notice when a line is changed?
	go -C tools build -o ../bin/mutate ./mutate
	bin/mutate $(MUTATE)

.PHONY: growth growth-picture
growth: ## how the timetable's time and memory grow, measured in seven minutes on a quiet machine, and drawn for docs/timetable.md
	RANKWRIGHT_BENCH_SECONDS=30 RANKWRIGHT_GROWTH_CSV=$(CURDIR)/docs/timetable-growth.csv go test -run '^$$' -bench Growth -benchtime 1x -timeout 30m ./internal/solver
	$(MAKE) growth-picture

growth-picture: ## the drawing anew, from the table that is there
	go -C tools run ./growth ../docs/timetable-growth.csv ../docs/timetable-growth.svg

.PHONY: faults
faults: ## the program killed 1,000 times, and 200 times while it sends, its power and a tablet's cut, its disk broken; as root on Linux, with strace
	RANKWRIGHT_KILL_CYCLES=1000 RANKWRIGHT_POST_KILLS=200 RANKWRIGHT_DEVICE_CUTS=200 go test -v -tags storage -count 1 -timeout 90m ./internal/faults

.PHONY: engines
engines: ## the scoring page in Firefox and WebKit; on Debian: apt-get install firefox-esr webkit2gtk-driver xvfb
	go test -v -tags engines -count 1 -run OtherEngines -timeout 10m ./internal/web
