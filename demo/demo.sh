#!/bin/sh
# The main job on the demo: makes the lantern's parts, builds and proves the foot ring's mould, and
# shows that the bumper cap is refused as two rigid halves. Everything lands in demo/out.
set -eu
cd "$(dirname "$0")/.."
out=demo/out
mw=bin/mouldwright
rm -rf "$out"
mkdir -p "$out"
"${GO:-go}" run ./demo/makeparts "$out/parts"

job() { # part: a job folder with the part and its decisions
	mkdir -p "$out/$1"
	cp "$out/parts/$1.3mf" "demo/jobs/$1.toml" "$out/$1/"
	mv "$out/$1/$1.toml" "$out/$1/job.toml"
}

echo
echo "== Foot ring: two rigid halves =="
job foot-ring
"$mw" run "$out/foot-ring"

echo
echo "== Bumper cap: two rigid halves are refused =="
job bumper-cap
status=0
"$mw" run "$out/bumper-cap" || status=$?
if [ "$status" -ne 1 ]; then
	echo "demo: the bumper cap should be refused (exit 1), but the exit code is $status" >&2
	exit 1
fi
if find "$out/bumper-cap/out" -name '*.3mf' -o -name '*.stl' | grep -q .; then
	echo "demo: mould files lie beside the refusal" >&2
	exit 1
fi

echo
echo "The foot ring's mould:  $out/foot-ring/out"
echo "Why the cap locks:      $out/bumper-cap/out/report.txt, and pictures/where-it-locks.png beside it"
