#!/bin/sh
# The main job on the demo: makes the lantern's parts, compares the ways to mould three of them, builds and
# proves the foot ring's mould, shows that the bumper cap is refused as two rigid halves and works with a
# silicone insert, and weights the ballast base with balls. Everything lands in demo/out.
set -eu
cd "$(dirname "$0")/.."
out=demo/out
mw=bin/mouldwright
rm -rf "$out"
mkdir -p "$out"
"${GO:-go}" run ./demo/makeparts "$out/parts"

job() { # folder part: a job folder with the part and its decisions
	mkdir -p "$out/$1"
	cp "$out/parts/$2.3mf" "$out/$1/"
	cp "demo/jobs/$1.toml" "$out/$1/job.toml"
}

ways() { # folder best: compares the ways, shows the table without the reasons, and wants the best proven
	"$mw" compare "$out/$1" >"$out/$1/ways.txt"
	sed '/^Why$/,$d' "$out/$1/ways.txt"
	if ! grep -q "^Best: $2 (proven)" "$out/$1/ways.txt"; then
		echo "demo: the best way for $1 should be proven, and: $2" >&2
		exit 1
	fi
}

echo
echo "== Foot ring: the ways compared =="
job foot-ring foot-ring
ways foot-ring "two rigid halves"
echo
echo "== Foot ring: two rigid halves =="
"$mw" run "$out/foot-ring"

echo
echo "== Bumper cap: the ways compared =="
job bumper-cap bumper-cap
ways bumper-cap "cradle, silicone insert and casting cap"
echo
echo "== Bumper cap: two rigid halves are refused =="
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
echo "== Bumper cap: cradle and silicone insert =="
job bumper-cap-insert bumper-cap
"$mw" run "$out/bumper-cap-insert"

echo
echo "== Ballast base: a rigid trough for steel balls, with its shop sheet =="
job ballast-base ballast-base
"$mw" run "$out/ballast-base"
"$mw" sheet "$out/ballast-base" --pot-rated 400

echo
echo "== Foot pad: the ways compared =="
job foot-pad foot-pad
cp "$out/parts/pad-carrier.3mf" "$out/foot-pad/"
ways foot-pad "open-face tray"
echo
echo "== Foot pad: a carrier over-moulded in an open tray, with its shop sheet =="
"$mw" run "$out/foot-pad"
"$mw" sheet "$out/foot-pad" --pot-rated 400

echo
echo "The ways compared:      ways.txt in the folders of the foot ring, the bumper cap and the foot pad"
echo "The foot ring's mould:  $out/foot-ring/out"
echo "Why the cap locks:      $out/bumper-cap/out/report.txt, and pictures/where-it-locks.png beside it"
echo "The cap's insert mould: $out/bumper-cap-insert/out"
echo "The pad's open tray:    $out/foot-pad/out, and its shop sheet $out/foot-pad/shop-sheet.pdf"
echo "The base's shop sheet:  $out/ballast-base/shop-sheet.pdf"
