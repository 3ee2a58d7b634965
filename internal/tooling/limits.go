package tooling

import (
	"math"
	"strconv"
)

// limitSlackMM is how far a measured length may fall short of a limit and still count as meeting it:
// sizes that are planned to meet a limit exactly come out of sums and booleans a few units of rounding
// off. It is a nanometre, far under what any machine makes.
const limitSlackMM = 1e-6

// short says whether a length falls under the least one wanted by more than rounding.
func short(gotMM, wantMM float64) bool { return gotMM < wantMM-limitSlackMM }

// mostDecimals is where telling two lengths apart ends: beyond it they differ by less than the slack.
const mostDecimals = 7

// lengths writes a measured length and its limit in mm with as many decimals as tell them apart, so that
// no message says that 3.0 is less than 3.0.
func lengths(gotMM, wantMM float64) (got, want string) {
	for d := 1; ; d++ {
		got, want = strconv.FormatFloat(gotMM, 'f', d, 64), strconv.FormatFloat(wantMM, 'f', d, 64)
		if got != want || d == mostDecimals || math.Abs(gotMM-wantMM) <= limitSlackMM {
			return got, want
		}
	}
}
