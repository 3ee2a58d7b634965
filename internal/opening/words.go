package opening

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// Words says the verdict in a line, such as
//
//	upper half from lower half along +z: free
//	casting from lower half along +z: blocked at travel 0.00 mm at (12.0, 0.0, 3.5); overlap 0.87 ± 0.01 mm deep over 64.2 mm²
func (v *Verdict) Words() string {
	return fmt.Sprintf("%s from %s along %s: %s", v.Moving, v.Fixed, directionWords(v.Direction), v.outcome())
}

func (v *Verdict) outcome() string {
	var rub []string
	if v.ZeroDraftAreaMM2 > 0.05 {
		rub = append(rub, fmt.Sprintf("%.1f mm² zero draft", v.ZeroDraftAreaMM2))
	}
	if v.GrazeMM > 0 {
		rub = append(rub, fmt.Sprintf("grazes by up to %.4f mm, within the tolerance of %g mm", v.GrazeMM, v.ToleranceMM))
	}
	if v.State == Blocked {
		s := fmt.Sprintf("blocked at travel %.2f mm at (%.1f, %.1f, %.1f); overlap %s deep over %.1f mm²",
			v.TravelMM, v.At.X, v.At.Y, v.At.Z, v.depthWords(), v.OverlapAreaMM2)
		return strings.Join(append([]string{s}, rub...), "; ")
	}
	if len(rub) == 0 {
		return v.State.String()
	}
	return "free, " + strings.Join(rub, ", ")
}

// depthWords gives the middle of the interval that holds the depth, and half its length, or both
// ends when they are far apart.
func (v *Verdict) depthWords() string {
	digits := 2
	if v.OverlapDepthMM < 0.1 {
		digits = 4
	}
	if v.OverlapDepthErrorMM > 0.05*v.OverlapDepthMM {
		return fmt.Sprintf("%.*f to %.*f mm", digits, v.OverlapDepthMM, digits, v.OverlapDepthMM+v.OverlapDepthErrorMM)
	}
	half := v.OverlapDepthErrorMM / 2
	scale := math.Pow10(digits)
	return fmt.Sprintf("%.*f ± %.*f mm", digits, v.OverlapDepthMM+half, digits, math.Ceil(half*scale)/scale)
}

func directionWords(d r3.Vec) string {
	for i, x := range [...]float64{d.X, d.Y, d.Z} {
		if math.Abs(math.Abs(x)-1) < 1e-12 {
			sign := "+"
			if x < 0 {
				sign = "-"
			}
			return sign + "xyz"[i:i+1]
		}
	}
	return fmt.Sprintf("(%.4f, %.4f, %.4f)", d.X, d.Y, d.Z)
}

// Words says the step in a line for each motion: what leaves, which way, and how; each lock follows
// on its own line.
func (s *Step) Words() string {
	var b strings.Builder
	b.WriteString(s.Motion.Piece)
	if len(s.Motion.Carries) > 0 {
		fmt.Fprintf(&b, " with %s stuck to it", strings.Join(s.Motion.Carries, ", "))
	}
	fmt.Fprintf(&b, " leaves along %s: ", directionWords(s.Motion.Direction))
	if s.State == Blocked {
		b.WriteString("blocked")
		for _, v := range s.Verdicts {
			if v.State == Blocked {
				fmt.Fprintf(&b, "\n  %s by %s: %s", v.Moving, v.Fixed, v.outcome())
			}
		}
		return b.String()
	}
	b.WriteString("free")
	var area, graze float64
	for _, v := range s.Verdicts {
		area += v.ZeroDraftAreaMM2
		graze = max(graze, v.GrazeMM)
	}
	if area > 0.05 {
		fmt.Fprintf(&b, ", %.1f mm² zero draft", area)
	}
	if graze > 0 {
		fmt.Fprintf(&b, ", grazes by up to %.4f mm, within the tolerance", graze)
	}
	return b.String()
}

// Words says the proof, a line a motion and a line more for each lock.
func (p *Proof) Words() string {
	lines := make([]string, len(p.Steps))
	for i := range p.Steps {
		lines[i] = p.Steps[i].Words()
	}
	return strings.Join(lines, "\n")
}

// firstLock is the first blocked verdict, or nil.
func (p *Proof) firstLock() *Verdict {
	for _, s := range p.Steps {
		for _, v := range s.Verdicts {
			if v.State == Blocked {
				return v
			}
		}
	}
	return nil
}

// Words says in a few lines whether the pieces part empty and whether they still do with the casting
// inside, such as
//
//	empty, the pieces part freely; with cup inside they lock.
//	cup stuck to lower half: upper half from cup along +z: blocked at travel 0.00 mm at …
//	cup stuck to upper half: cup from lower half along +z: blocked at travel 0.00 mm at …
func (c *Comparison) Words() string {
	empty := map[State]string{
		Free:    "empty, the pieces part freely",
		Sliding: "empty, the pieces part, rubbing on walls without draft",
		Blocked: "even empty, the pieces do not part",
	}[c.Empty.State]
	lines := []string{fmt.Sprintf("%s; %s.", empty, c.filledWords())}
	if v := c.Empty.firstLock(); v != nil {
		lines = append(lines, "empty: "+v.Words())
	}
	for _, f := range c.Filled {
		s := fmt.Sprintf("%s stuck to %s: ", c.Casting, f.StuckTo)
		switch v := f.Proof.firstLock(); {
		case v != nil:
			s += v.Words()
		case f.Proof.State == Sliding:
			s += "opens and comes out, rubbing on walls without draft"
		default:
			s += "opens and comes out freely"
		}
		lines = append(lines, s)
	}
	return strings.Join(lines, "\n")
}

func (c *Comparison) filledWords() string {
	locked := 0
	for _, f := range c.Filled {
		if f.Proof.State == Blocked {
			locked++
		}
	}
	switch locked {
	case 0:
		return fmt.Sprintf("with %s inside they part too", c.Casting)
	case len(c.Filled):
		return fmt.Sprintf("with %s inside they lock, whichever piece it stays in", c.Casting)
	}
	return fmt.Sprintf("with %s inside it depends on which piece it stays in", c.Casting)
}
