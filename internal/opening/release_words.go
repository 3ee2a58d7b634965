package opening

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// addWords says a hold in a sentence. h.Words holds the reason for being confined, if it is.
func (j *releaseJudge) addWords(h *Hold) {
	why := h.Words
	place := fmt.Sprintf("%s is held %s at %s, %.2f mm deep", h.Piece, h.Shape.words(), placeWords(h.Shape.At), h.Shape.DepthMM)
	if h.Gives == "" {
		h.TearRisk = "does not apply"
		h.Words = place + ": rigid on rigid, it never lets go"
		return
	}
	f := j.flexOf(h.Gives)
	h.TearRisk = tearRisk(h.Strain / (f.ElongationPct / 100))
	switch {
	case h.Way == Stuck:
		h.Words = fmt.Sprintf("%s: nothing is known of how thick %s is there, so it counts as locked", place, h.Gives)
	case h.Confined:
		h.Words = fmt.Sprintf("%s: %s would have to be %s by %s, but %s", place, h.Gives, h.Way, percent(h.Strain), why)
	case h.Releases:
		h.Words = fmt.Sprintf("%s: %s is %s by %s ± %.0f %% of that; %s is allowed (%.1f times as much); pull about %s",
			place, h.Gives, h.Way, percent(h.Strain), h.StrainErrorPct, percent(h.Allowed), h.Margin, h.forceWords())
	case h.TooHard && h.Margin >= 1:
		h.Words = fmt.Sprintf("%s: %s would be %s by %s ± %.0f %% of that, which it stands, but the pull of about %s is more than the %.0f N by hand",
			place, h.Gives, h.Way, percent(h.Strain), h.StrainErrorPct, h.forceWords(), h.PullN)
	default:
		h.Words = fmt.Sprintf("%s: %s would be %s by %s ± %.0f %% of that, more than the %s allowed",
			place, h.Gives, h.Way, percent(h.Strain), h.StrainErrorPct, percent(h.Allowed))
	}
}

func percent(strain float64) string { return fmt.Sprintf("%.3g %%", 100*strain) }

func (h *Hold) forceWords() string {
	return fmt.Sprintf("%s N (%s to %s N)", twoDigits(h.ForceN), twoDigits(h.ForceN/h.ForceFactor), twoDigits(h.ForceN*h.ForceFactor))
}

// twoDigits writes a figure with two significant digits and no exponent.
func twoDigits(x float64) string {
	short, err := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 1, 64), 64)
	if err != nil { // not a number; say so as it is
		return fmt.Sprint(x)
	}
	return strconv.FormatFloat(short, 'f', -1, 64)
}

// placeWords writes a place to a tenth of a mm, without minus zeros.
func placeWords(p r3.Vec) string {
	t := func(x float64) float64 { return math.Round(10*x)/10 + 0 }
	return fmt.Sprintf("(%.1f, %.1f, %.1f)", t(p.X), t(p.Y), t(p.Z))
}

func (s *Shape) words() string {
	switch {
	case s.Ring && s.GapDeg > 0 && s.Inward:
		return fmt.Sprintf("by a lip round it but for %.0f° (%.2f over %.2f mm across)", s.GapDeg, s.DMaxMM, s.DMinMM)
	case s.Ring && s.GapDeg > 0:
		return fmt.Sprintf("in a groove round it but for %.0f° (%.2f over %.2f mm across)", s.GapDeg, s.DMaxMM, s.DMinMM)
	case s.Ring && s.Inward:
		return fmt.Sprintf("by a lip all round (%.2f over %.2f mm across)", s.DMaxMM, s.DMinMM)
	case s.Ring:
		return fmt.Sprintf("in a groove all round (%.2f over %.2f mm across)", s.DMaxMM, s.DMinMM)
	case s.LipMM > 0:
		return fmt.Sprintf("by a lip %.1f mm long and %.1f mm thick", s.LipMM, s.WallMM)
	}
	return "from one side"
}

func stepWords(s ReleaseStep, casting string, piece ReleaseBody, mine []int, holds []Hold) string {
	way := directionWords(unitOf(piece.Exit))
	var w string
	switch s.Kind {
	case PeelStep:
		w = fmt.Sprintf("Peel %s off %s, starting at a corner, along %s.", piece.Name, casting, way)
	case StretchStep:
		w = fmt.Sprintf("Take %s and %s apart along %s, stretching %s over it bit by bit, one side first.", piece.Name, casting, way, casting)
	case BendStep:
		w = fmt.Sprintf("Bend the lip of %s aside and draw %s off along %s.", casting, piece.Name, way)
	case SqueezeStep:
		w = fmt.Sprintf("Press %s together and draw %s off along %s.", casting, piece.Name, way)
	case TakeStep:
		w = fmt.Sprintf("Take %s out of %s.", casting, piece.Name)
	default:
		w = fmt.Sprintf("Lift %s off along %s.", piece.Name, way)
	}
	for _, i := range mine {
		if !holds[i].Releases {
			return w + " This does not work: " + holds[i].Words + "."
		}
	}
	if len(mine) > 0 {
		worst := mine[0]
		for _, i := range mine {
			if holds[i].Margin < holds[worst].Margin {
				worst = i
			}
		}
		w += fmt.Sprintf(" Strain %s, tear risk %s.", percent(holds[worst].Strain), holds[worst].TearRisk)
	}
	return w
}

// Words says the release in lines: what keeps the casting, each hold, each step.
func (r *Release) Words() string {
	var b strings.Builder
	if r.Releases {
		b.WriteString("It opens.")
	} else {
		b.WriteString("It locks.")
	}
	if r.KeptBy != "" {
		for _, k := range r.Keeps {
			if k.Piece == r.KeptBy {
				fmt.Fprintf(&b, " %s keeps the casting (%.0f mm² held, %.0f mm² without draft).", k.Piece, k.HeldMM2, k.ZeroDraftMM2)
			}
		}
	}
	for _, h := range r.Holds {
		b.WriteString("\n- " + h.Words)
	}
	for i, s := range r.Steps {
		fmt.Fprintf(&b, "\n%d. %s", i+1, s.Words)
	}
	return b.String()
}
