package tooling

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// LabelOptions says what is written and how. The zero value of all but Text is bold sans lettering of
// 5 mm capitals, sunk 0.5 mm for paint fill (common practice, no source).
type LabelOptions struct {
	Text        string
	Font        []byte  // a TTF or OTF file; nil for the built-in bold
	CapHeightMM float64 // height of a capital; default 5
	LeastCapMM  float64 // smallest that text may shrink to; default 2.5
	DepthMM     float64 // default 0.5
	MarginMM    float64 // kept to the edges of the face; default 1.5
	LeastWallMM float64 // kept between the bottom of the letters and what lies behind; default 2
	ChordMM     float64 // flattening of curves; default 0.02
}

func (o LabelOptions) withDefaults() LabelOptions {
	setDefault(&o.CapHeightMM, 5)
	setDefault(&o.LeastCapMM, min(2.5, o.CapHeightMM))
	setDefault(&o.DepthMM, 0.5)
	setDefault(&o.MarginMM, 1.5)
	setDefault(&o.LeastWallMM, 2)
	setDefault(&o.ChordMM, 0.02)
	return o
}

// LabelFace is an upright rectangle on the outside of a piece that may carry text. Text reads from
// outside with z up.
type LabelFace struct {
	Centre            r3.Vec
	Normal            r3.Vec  // out of the piece; horizontal
	WidthMM, HeightMM float64 // room along the face and along z
	BehindMM          float64 // solid behind the face before the cavity or another feature begins
}

// Label is text fitted to a face.
type Label struct {
	Options     LabelOptions
	Face        LabelFace
	CapHeightMM float64 // after shrinking
	WidthMM     float64
	Loops       [][]r2.Vec // centred on the face; x to the right as read, y up
	normal      r3.Vec
}

// ErrLabel is the cause when a label cannot be cut as asked.
var ErrLabel = errors.New("label does not fit")

// NewLabel fits text to a face: at the height asked when there is room, smaller down to LeastCapMM
// otherwise.
func NewLabel(face LabelFace, opt LabelOptions) (Label, error) {
	o := opt.withDefaults()
	if err := finite("label", map[string]float64{"cap height": o.CapHeightMM, "least cap height": o.LeastCapMM, "depth": o.DepthMM,
		"margin": o.MarginMM, "least wall": o.LeastWallMM, "chord": o.ChordMM}); err != nil {
		return Label{}, err
	}
	n := r3.Norm(face.Normal)
	if !(n > 0) || face.Normal.Z != 0 {
		return Label{}, fmt.Errorf("label %q: the face's normal must be horizontal: %w", o.Text, ErrLabel)
	}
	if left := face.BehindMM - o.DepthMM; short(left, o.LeastWallMM) {
		return Label{}, fmt.Errorf("label %q: %.1f mm of solid lies behind the face, so letters %.2f mm deep leave %.2f mm, %.1f mm is wanted: "+
			"make the wall thicker or the letters less deep: %w", o.Text, face.BehindMM, o.DepthMM, left, o.LeastWallMM, ErrLabel)
	}
	set, err := setText(o.Text, o.Font)
	if err != nil {
		return Label{}, fmt.Errorf("label %q: %w", o.Text, err)
	}
	scale := o.CapHeightMM / set.capHeight
	size := r2.Sub(set.box.Max, set.box.Min)
	roomX, roomY := face.WidthMM-2*o.MarginMM, face.HeightMM-2*o.MarginMM
	scale = min(scale, roomX/size.X, roomY/size.Y)
	l := Label{Options: o, Face: face, CapHeightMM: scale * set.capHeight, WidthMM: scale * size.X, normal: r3.Scale(1/n, face.Normal)}
	if short(l.CapHeightMM, o.LeastCapMM) {
		return Label{}, fmt.Errorf("label %q: it would shrink to %.2f mm capitals to fit %.1f × %.1f mm, the least is %.2f mm: shorten the text or make the block larger: %w",
			o.Text, max(0, l.CapHeightMM), max(0, roomX), max(0, roomY), o.LeastCapMM, ErrLabel)
	}
	mid := r2.Scale(0.5, r2.Add(set.box.Min, set.box.Max))
	for _, c := range set.curves {
		if loop := c.flatten(mid, scale, o.ChordMM); len(loop) > 2 {
			l.Loops = append(l.Loops, loop)
		}
	}
	return l, nil
}

// Tools makes the cutter for one half: the letters, from DepthMM inside the face to just outside it.
func (l Label) Tools(k *solid.Kernel, h Half) ([]Tool, error) {
	r, err := k.Region(l.Loops)
	if err != nil {
		return nil, fmt.Errorf("label %q: %w", l.Options.Text, err)
	}
	loops, err := r.Loops()
	if err != nil {
		return nil, fmt.Errorf("label %q: %w", l.Options.Text, err)
	}
	p, err := k.Prism(loops, -l.Options.DepthMM, overshootMM)
	if err != nil {
		return nil, fmt.Errorf("label %q: %w", l.Options.Text, err)
	}
	m, err := p.Mesh()
	if err != nil {
		return nil, fmt.Errorf("label %q: %w", l.Options.Text, err)
	}
	s, err := k.FromMesh(m.Map(l.place))
	if err != nil {
		return nil, fmt.Errorf("label %q: %w", l.Options.Text, err)
	}
	return []Tool{{Half: h, Solid: s}}, nil
}

// place takes (right, up, out) on the face to the mould's frame. Right is z × normal, so that right, up
// and out are right-handed and the text is never mirrored.
func (l Label) place(v r3.Vec) r3.Vec {
	right := r3.Vec{X: -l.normal.Y, Y: l.normal.X}
	p := r3.Add(l.Face.Centre, r3.Scale(v.X, right))
	p = r3.Add(p, r3.Scale(v.Z, l.normal))
	p.Z += v.Y
	return p
}

// Feature describes the label for drawings and the ledger.
func (l Label) Feature(name string, h Half) Feature {
	return Feature{Name: name, Kind: "label", Piece: h.String(), At: l.Face.Centre,
		SizesMM: []Size{{"cap height", l.CapHeightMM}, {"width", l.WidthMM}, {"depth", l.Options.DepthMM}},
		Words:   fmt.Sprintf("%q, capitals %.1f mm, sunk %.2f mm", l.Options.Text, l.CapHeightMM, l.Options.DepthMM)}
}

// chordPieces is how many equal steps of the parameter keep a curve within tol of its chords, given the
// greatest length of its second derivative: the error of a chord over a step h is h²·|B″|/8.
func chordPieces(second, tol float64) int {
	const most = 256
	return max(1, min(most, int(math.Ceil(math.Sqrt(second/(8*tol))))))
}
