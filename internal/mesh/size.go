package mesh

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"
)

// The sizes that a part poured by hand usually has (common practice, no source). Outside of them
// the likely cause is a unit that was lost on the way.
const (
	tinyMM  = 1.0    // smaller than this, nothing can be poured
	smallMM = 10.0   // smaller than this is rare, and a part in inches often is
	largeMM = 2000.0 // larger than this fits no bench
)

// size warns when the numbers look as if they were inches, metres or microns rather than mm.
func (in *Intake) size() {
	d := r3.Sub(in.Bounds.Max, in.Bounds.Min)
	longest := max(d.X, d.Y, d.Z)
	p := Problem{Kind: Size, Severity: Warning, Count: 1}
	if in.Bounds.Min != in.Bounds.Max {
		p.Where = []Where{{At: r3.Scale(0.5, r3.Add(in.Bounds.Min, in.Bounds.Max))}}
	}
	about := fmt.Sprintf("the longest side is %.4g mm", longest)
	asIf := func(unit string, factor float64) string {
		return fmt.Sprintf("if the numbers are %s, scale by %.6g to %.4g mm", unit, factor, longest*factor)
	}
	switch {
	case longest >= smallMM && longest <= largeMM:
		return
	case longest > largeMM && longest/1000 > largeMM:
		p.Words, p.Remedy = about+", too large to mould", "check the unit of the export"
	case longest > largeMM && longest/1000 >= smallMM:
		p.Words, p.Remedy = about+", too large to mould", asIf("microns", 0.001)+"; "+asIf("mm taken for inches", 1/25.4)
	case longest > largeMM:
		p.Words, p.Remedy = about+", too large to mould", asIf("mm taken for inches", 1/25.4)
	case longest*1000 < smallMM:
		p.Words, p.Remedy = about+", too small to mould", "check the unit of the export"
	case longest < tinyMM:
		p.Words, p.Remedy = about+", too small to mould", asIf("metres", 1000)
		if longest*25.4 >= tinyMM {
			p.Remedy += "; " + asIf("inches", 25.4)
		}
	default:
		p.Words, p.Remedy = about+", small for a casting", asIf("inches", 25.4)+"; otherwise go on"
	}
	in.report(p)
}
