#!/usr/bin/env bash
# Everything a change must pass, in one run: ./check.sh
# Only the fuzz targets, each for a minute:  ./check.sh fuzz 60
#
# On a Debian machine as root it installs the tools that the checks need;
# elsewhere it says what is missing and stops. Nothing is skipped but what takes
# a disk whose power can be cut, where the machine has none: the end says so.
set -euo pipefail
cd "$(dirname "$0")"

tmp=$(mktemp -d)
postgres_dir=
beside=() # what runs in the background
cleanup() {
	local job at
	for job in "${beside[@]}"; do # each has a group of its own, with what it started
		kill -- "-$job" 2>/dev/null && wait "$job" 2>/dev/null || true
	done
	[ ! -r /proc/mounts ] || while read -r _ at _; do
		case $at in "$tmp"/*) umount -l "$at" 2>/dev/null || true ;; esac
	done </proc/mounts
	[ -z "$postgres_dir" ] || as_postgres "$postgres_bin/pg_ctl" -D "$postgres_dir/data" -m immediate stop >/dev/null 2>&1 || true
	rm -rf "$tmp" "$postgres_dir"
}
trap cleanup EXIT

began=$SECONDS
step() { printf '\n== %s (%d s)\n' "$1" "$((SECONDS - began))"; }
stop() { printf '\ncheck.sh: %s\n' "$1" >&2; exit 1; }
files() { git -c safe.directory='*' ls-files -co --exclude-standard -- "$1"; }

# --- tools ---------------------------------------------------------------

missing=() packages=()
need() { # need COMMAND DEBIAN-PACKAGE WHY
	command -v "$1" >/dev/null && return
	missing+=("$1 (Debian package $2): $3")
	packages+=("$2")
}

postgres_programs() {
	postgres_bin=$(dirname "$(command -v pg_ctl || ls -d /usr/lib/postgresql/*/bin/pg_ctl 2>/dev/null | sort -V | tail -1)")
	[ -x "$postgres_bin/pg_ctl" ] && [ -x "$postgres_bin/initdb" ]
}

tools() {
	missing=() packages=()
	need git git "lists the files that are kept"
	need gcc gcc "builds the tests that watch for data races"
	need chromium chromium "plays the people in the browser tests"
	need pdftotext poppler-utils "reads our PDF files independently of us"
	need openssl openssl "judges our certificates independently of us"
	need qpdf qpdf "checks the structure of our PDF files"
	if ! /usr/bin/python3 -c 'import icalendar, dateutil, email.policy' 2>/dev/null; then
		missing+=("/usr/bin/python3 with icalendar and dateutil (Debian packages python3, python3-icalendar, python3-dateutil): reads our calendar files and our letters independently of us")
		packages+=(python3 python3-icalendar python3-dateutil)
	fi
	[ -z "$(files '*.test.js')" ] || need node nodejs "runs the tests of the scripts on the mat"
	if [ -z "${RANKWRIGHT_TEST_POSTGRES:-}" ] && ! postgres_programs; then
		missing+=("pg_ctl and initdb (Debian package postgresql), or RANKWRIGHT_TEST_POSTGRES with the address of an empty database: the store keeps one contract on two databases")
		packages+=(postgresql)
	fi
}

command -v go >/dev/null || stop "Go is missing: install Go 1.21 or newer from go.dev/dl; it fetches the version that go.mod asks for"
GOTOOLCHAIN=$(sed -n 's/^toolchain //p' go.mod)
export GOTOOLCHAIN

fuzz() { # fuzz SECONDS
	local file name
	while read -r file; do
		for name in $(sed -n 's/^func \(Fuzz[A-Za-z0-9_]*\)(.*/\1/p' "$file"); do
			echo "$name of $(dirname "$file")"
			go test -run '^$' -fuzz "^$name\$" -fuzztime "$1s" -fuzzminimizetime 10x "./$(dirname "$file")" >"$tmp/fuzz" 2>&1 ||
				{ cat "$tmp/fuzz"; stop "$name found an input that breaks it"; }
			tail -n 3 "$tmp/fuzz" | grep -m 1 '^fuzz: ' || { cat "$tmp/fuzz"; stop "$name did not run"; }
		done
	done < <(files '*_test.go')
}

if [ "${1:-}" = fuzz ]; then
	fuzz "${2:-60}"
	exit
fi

step "Tools"
tools
if [ ${#missing[@]} -gt 0 ]; then
	printf 'missing: %s\n' "${missing[@]}"
	if [ "$(id -u)" != 0 ] || ! command -v apt-get >/dev/null; then
		stop "install what is missing and run this again; on Debian: apt-get install ${packages[*]}"
	fi
	export DEBIAN_FRONTEND=noninteractive
	{ apt-get update -qq && apt-get install -qq -y --no-install-recommends "${packages[@]}"; } >"$tmp/apt" 2>&1 </dev/null ||
		{ tail -n 30 "$tmp/apt"; stop "apt-get could not install: ${packages[*]}"; }
	tools
	[ ${#missing[@]} = 0 ] || stop "still missing after the installation: ${missing[*]}"
fi
go version

# --- the text ------------------------------------------------------------

step "gofmt"
unformatted=$(files '*.go' | xargs "$(go env GOROOT)/bin/gofmt" -l)
[ -z "$unformatted" ] || stop "these files want gofmt -w: $unformatted"

step "go mod tidy"
go mod tidy -diff || stop "go.mod or go.sum is not tidy: run go mod tidy"
go -C tools mod tidy -diff || stop "tools/go.mod or go.sum is not tidy: run go -C tools mod tidy"

step "go vet"
go vet ./...
go vet -tags postgres ./internal/store/...
go vet -tags engines ./internal/web
go vet -tags storage ./internal/faults
[ -z "$(files 'tools/*.go')" ] || go -C tools vet ./...
go -C tools test ./... >"$tmp/tools" 2>&1 || { cat "$tmp/tools"; stop "the tests of tools fail"; }

step "staticcheck"
go tool -modfile=tools/go.mod staticcheck ./...
go tool -modfile=tools/go.mod staticcheck -tags postgres ./internal/store/...

# --- the tests -----------------------------------------------------------

passed=0 failed=0
run() { # run WHAT ARGUMENTS...: one run of go test, its tests counted
	local what=$1 bad=0
	shift
	go test -v -vet=off -timeout 10m "$@" >"$tmp/$what" 2>&1 || bad=1
	count "$what" $bad
}

apart() { # apart WHAT COMMAND...: in the background, in a process group of its own
	local what=$1
	shift
	set -m
	"$@" >"$tmp/$what" 2>&1 </dev/null &
	set +m
	beside+=($!)
}

count() { # count WHAT STATUS: the tests of a run that has ended
	local log="$tmp/$1" bad=$2 before=$((passed + failed)) skipped
	grep -E '^(ok|FAIL)\s' "$log" | grep -v 'no tests to run' || true
	if [ $bad != 0 ]; then
		grep -vE '^\s*(=== |--- PASS)|^(PASS|ok\s|\?\s)|\[rapid\] OK' "$log" || true
	fi
	passed=$((passed + $(grep -cE '^\s*--- PASS: ' "$log" || true)))
	failed=$((failed + $(grep -cE '^\s*--- FAIL: ' "$log" || true)))
	skipped=$(grep -E '^\s*--- SKIP: ' "$log" || true)
	if [ -n "$skipped" ]; then
		printf 'a test that is skipped proves nothing:\n%s\n' "$skipped"
		failed=$((failed + $(wc -l <<<"$skipped")))
	elif [ $((passed + failed)) = "$before" ] || { [ $bad != 0 ] && [ $failed = 0 ]; }; then
		failed=$((failed + 1)) # it did not build, ran out of time, or found no test
	fi
}

# A browser mostly waits: its tests run beside all others, and are counted when
# those have ended.
step "Tests, the browser's beside the others"
apart browser go test -v -vet=off -timeout 14m -run Browser ./...
RANKWRIGHT_CASES=100000 run all -skip Browser ./...

step "The store's contract on PostgreSQL"
as_postgres() { if [ "$(id -u)" = 0 ]; then runuser -u postgres -- "$@"; else "$@"; fi; }
if [ -z "${RANKWRIGHT_TEST_POSTGRES:-}" ]; then
	# A cluster of its own, reached by a socket in its own folder: no port.
	postgres_dir=$(mktemp -d)
	[ "$(id -u)" != 0 ] || chown postgres "$postgres_dir"
	as_postgres "$postgres_bin/initdb" -D "$postgres_dir/data" -U rankwright -A trust -E UTF8 --locale=C.UTF-8 -N >"$tmp/initdb" 2>&1 </dev/null ||
		{ cat "$tmp/initdb"; stop "initdb could not make a cluster"; }
	as_postgres "$postgres_bin/pg_ctl" -D "$postgres_dir/data" -l "$postgres_dir/log" -w \
		-o "-k $postgres_dir -c listen_addresses=" start >/dev/null </dev/null ||
		{ cat "$postgres_dir/log"; stop "PostgreSQL did not start"; }
	export RANKWRIGHT_TEST_POSTGRES="postgres:///postgres?user=rankwright&host=$postgres_dir"
fi
run postgres -tags postgres -run Postgres ./internal/store/...

# A disk whose power can be cut is an image in a loop device, which takes root.
can_cut() {
	[ "$(id -u)" = 0 ] && truncate -s 16M "$tmp/disk" && mkfs.ext4 -q "$tmp/disk" && mkdir "$tmp/at" &&
		mount -o loop "$tmp/disk" "$tmp/at" && umount "$tmp/at"
}
cut=
if can_cut >/dev/null 2>&1; then
	step "A tablet whose power is cut, beside the rest"
	mkdir "$tmp/cuts" # where this script finds what is left mounted
	apart cut env TMPDIR="$tmp/cuts" go test -v -vet=off -timeout 10m -tags storage -run StorageATabletWhosePowerIsCut ./internal/faults
	cut=${beside[1]}
fi

# Here, that those who work at once do not meet. So: packages in which somebody
# does; without the solver's values and its machine code, and without the
# commands and walks in which one thing is done after another, all tried above.
step "Tests under the race detector"
besides='Browser|PublishedOptimum|ProvenValue|ProvenPlan|KnownValue|StillGetsAPlan|TheExampleIsPlanned|MachineCode'
besides+='|DeliversIsHarmless|TestScripts|TestOneGradingThreeWays|TestVerifyFinds|TestPrintedCertificates'
besides+='|TestEveryAddressForEveryRole|TestNoLinkLeadsNowhere|TestNoPageOfAFamilyIsADeadEnd|TestEveryPageOfAFamilySpeaks|TestASchoolsLogo'
at_once='^[[:space:]]*go (func|[a-zA-Z.]+[(])|[.]Go[(]|[.]Parallel[(]|RunParallel|httptest[.]New(Server|Unstarted|TLS)'
meeting=()
while read -r package folder; do
	! grep -qE "$at_once" "$folder"/*.go "$folder"/*test/*.go 2>/dev/null || meeting+=("$package")
done < <(go list -f '{{.ImportPath}} {{.Dir}}' ./...)
CGO_ENABLED=1 run race -race -timeout 14m -skip "$besides" "${meeting[@]}"

if [ $failed = 0 ]; then
	step "Fuzz targets, a second each"
	fuzz 1

	step "The static binary"
	CGO_ENABLED=0 go build -trimpath -ldflags "-s -w" -o "$tmp/rankwright" ./cmd/rankwright
	"$tmp/rankwright" --help >/dev/null
	echo "$(($(wc -c <"$tmp/rankwright"))) bytes"
fi

step "The browser's tests"
bad=0
wait "${beside[0]}" || bad=$?
count browser $bad
if [ -n "$cut" ]; then
	bad=0
	wait "$cut" || bad=$?
	count cut $bad
fi
beside=()

printf '\n%d s\n' "$((SECONDS - began))"
[ -n "$cut" ] || echo "check: NOT TRIED HERE: a tablet whose power is cut takes root, mkfs.ext4 and a loop device; make faults tries it where these are"
echo "check: $passed passed, $failed failed"
[ $failed = 0 ]
