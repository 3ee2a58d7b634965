package lantern

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// ChordErrorMM is the most by which a chord strays from the curve it stands for, in mm: below what
// a resin printer resolves (0.03 to 0.05 mm a pixel), so a casting shows no facets.
const ChordErrorMM = 0.02

// corner is a corner of a section: X is the radius, Y the height, both in mm. RoundMM is the radius
// of the arc that replaces it, tangent to both sides; 0 keeps it sharp. Name is the face that
// starts here and runs to the next corner; an arc belongs to the face named Round.
type corner struct {
	R, Z    float64
	RoundMM float64
	Name    string
	Round   string
}

// section is the outline of a turned part, counter-clockwise in the plane of radius (X) and height
// (Y), so that the solid lies on the left. An outline that starts on the axis ends on it; any other
// is closed from its last corner to its first.
type section []corner

// span is a piece of the outline between two tangent points: a chord or an arc.
type span struct {
	From, To   r2.Vec
	Centre     r2.Vec
	Radius     float64 // 0 for a straight piece
	Start, End float64 // angles of the arc about Centre, rad
	Name       string
}

func (s section) onAxis() bool { return s[0].R == 0 }

// spans returns the outline as straight pieces and arcs, in order.
func (s section) spans() []span {
	n := len(s)
	arcs := make([]span, n)
	for i, c := range s {
		p := r2.Vec{X: c.R, Y: c.Z}
		arcs[i] = span{From: p, To: p}
		if c.RoundMM > 0 {
			before, after := s[(i+n-1)%n], s[(i+1)%n]
			arcs[i] = tangentArc(p, r2.Vec{X: before.R, Y: before.Z}, r2.Vec{X: after.R, Y: after.Z}, c.RoundMM)
			arcs[i].Name = c.Round
		}
	}
	var out []span
	for i := range s {
		if arcs[i].Radius > 0 {
			out = append(out, arcs[i])
		}
		if i == n-1 && s.onAxis() {
			break
		}
		out = append(out, span{From: arcs[i].To, To: arcs[(i+1)%n].From, Name: s[i].Name})
	}
	return out
}

// tangentArc rounds the corner at p between its neighbours with an arc of the given radius.
func tangentArc(p, before, after r2.Vec, radius float64) span {
	in, out := r2.Unit(r2.Sub(before, p)), r2.Unit(r2.Sub(after, p))
	half := math.Acos(max(-1, min(1, r2.Dot(in, out)))) / 2
	back := radius / math.Tan(half)
	from, to := r2.Add(p, r2.Scale(back, in)), r2.Add(p, r2.Scale(back, out))
	centre := r2.Add(p, r2.Scale(radius/math.Sin(half), r2.Unit(r2.Add(in, out))))
	a, b := r2.Sub(from, centre), r2.Sub(to, centre)
	start := math.Atan2(a.Y, a.X)
	sweep := math.Atan2(r2.Cross(a, b), r2.Dot(a, b))
	return span{From: from, To: to, Centre: centre, Radius: radius, Start: start, End: start + sweep}
}

// outlinePoint is a vertex of the outline with the name of the face that starts there.
type outlinePoint struct {
	r2.Vec
	Name string
}

// points returns the outline as chords, arcs cut finely enough for ChordErrorMM.
func (s section) points() []outlinePoint {
	var out []outlinePoint
	spans := s.spans()
	for _, sp := range spans {
		if sp.Radius == 0 {
			out = append(out, outlinePoint{sp.From, sp.Name})
			continue
		}
		n := chords(sp.Radius, sp.End-sp.Start)
		for k := range n {
			sin, cos := math.Sincos(sp.Start + (sp.End-sp.Start)*float64(k)/float64(n))
			out = append(out, outlinePoint{r2.Add(sp.Centre, r2.Vec{X: sp.Radius * cos, Y: sp.Radius * sin}), sp.Name})
		}
	}
	if s.onAxis() {
		out = append(out, outlinePoint{Vec: spans[len(spans)-1].To})
	}
	return out
}

// chords is the number of equal chords that hold an arc of the given radius (mm) and sweep (rad)
// within ChordErrorMM: a chord over the angle a strays by radius·(1 − cos(a/2)).
func chords(radius, sweep float64) int {
	step := 2 * math.Acos(1-min(ChordErrorMM/radius, 1))
	return max(1, int(math.Ceil(math.Abs(sweep)/step)))
}

// volumeMM3 is the volume of the section turned about z, with true arcs and a true circle: by the
// divergence theorem π·∮r² dz along the outline, in closed form over each span.
func (s section) volumeMM3() float64 {
	sum := 0.0
	for _, sp := range s.spans() {
		if sp.Radius == 0 {
			a, b := sp.From.X, sp.To.X
			sum += (a*a + a*b + b*b) / 3 * (sp.To.Y - sp.From.Y)
			continue
		}
		sum += arcMoment(sp.Centre.X, sp.Radius, sp.End) - arcMoment(sp.Centre.X, sp.Radius, sp.Start)
	}
	return math.Pi * sum
}

// arcMoment is the antiderivative of r² dz = (c + ρ·cos φ)²·ρ·cos φ dφ.
func arcMoment(c, rho, phi float64) float64 {
	sin := math.Sin(phi)
	return rho * (c*c*sin + c*rho*(phi+math.Sin(2*phi)/2) + rho*rho*(sin-sin*sin*sin/3))
}

// slope is the sideways distance in mm that a wall of the given draft covers over a rise in mm.
func slope(riseMM, draftDeg float64) float64 { return riseMM * math.Tan(draftDeg*math.Pi/180) }
