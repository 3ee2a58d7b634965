#!/usr/bin/env bash
# Fuzzes every target of the module in turn: bench/fuzz.sh SECONDS, shared out evenly. Prints the runs of each and how
# many a second.
set -euo pipefail
cd "$(dirname "$0")/.."
go=${GO:-go}
# Making an input smaller that found new code is kept short: where coverage wavers, as in unpacking, it would take all
# of the time.
targets=$(grep -rHo '^func Fuzz[A-Za-z]*' --include=*_test.go internal | sed 's/:func /:/' | sort)
n=$(wc -l <<<"$targets")
each=$(( $1 / n ))
[ "$each" -ge 1 ] || each=1
while IFS=: read -r file name; do
	package=./$(dirname "$file")
	echo "== $package $name, $each s"
	"$go" test -run '^$' -fuzz "^$name\$" -fuzztime "${each}s" -fuzzminimizetime 100x "$package" | tail -3
done <<<"$targets"
