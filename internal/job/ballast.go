package job

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/material"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// BallastReport is a casting weighted with balls: what goes in, what it then weighs, and how it stands.
// Places are in the part's coordinates.
type BallastReport struct {
	From       string                 `json:"from"`  // where the chamber comes from, in words
	Where      string                 `json:"where"` // "hollow" of the finished casting, or in the "casting" itself
	ChamberML  float64                `json:"chamber_ml"`
	LeastMM    float64                `json:"least_width_mm"`
	BallMM     float64                `json:"ball_mm"`
	BallGPerML float64                `json:"ball_g_per_ml"`
	Balls      int                    `json:"balls"` // about as many, packed as asked
	Packing    string                 `json:"packing"`
	Fill       *material.BallastRange `json:"fill"`
	Used       material.Ballast       `json:"used"`               // packed as asked
	Backfill   *material.Shot         `json:"backfill,omitempty"` // of a hollow; null where the casting's own resin fills the gaps
	// The casting without balls, and with them as packed; Loose and Close bound the latter.
	Without Standing `json:"without"`
	With    Standing `json:"with"`
	Loose   Standing `json:"loose"`
	Close   Standing `json:"close"`
	Words   []string `json:"words"`
}

// Standing is a casting's mass and balance.
type Standing struct {
	MassG   float64    `json:"mass_g"`
	AtMM    [3]float64 `json:"centre_mm"`
	TipDeg  *float64   `json:"tip_deg"` // null when it does not stand
	HighMM  float64    `json:"centre_height_mm"`
	Problem string     `json:"problem,omitempty"`
}

// Where balls go.
const (
	inHollow  = "hollow"
	inCasting = "casting"
)

// randomOffPct is what balls poured by hand differ from the mean packing (common practice, no source).
const randomOffPct = 3

// blendAndBallast checks what goes into the mix and into the casting before a mould is built for it.
func (s *trying) blendAndBallast(ctx context.Context) error {
	blend, err := s.file.blend(s.material)
	if err != nil {
		return err
	}
	s.poured = blended(s.material, blend)
	if !s.file.Ballast.asked() {
		return nil
	}
	if s.report.Ballast, err = s.ballast(ctx, blend.Density.GPerML); err != nil {
		return err
	}
	s.report.Warnings = append(s.report.Warnings, s.report.Ballast.Fill.Warnings...)
	return nil
}

func (s *trying) ballast(ctx context.Context, castGPerML float64) (*BallastReport, error) {
	b := s.file.Ballast
	backfill, err := materialNamed(s.folder, s.file, "ballast.backfill", cmp.Or(b.Backfill, s.material.ID))
	if err != nil {
		return nil, err
	}
	c, err := s.chamber(ctx)
	if err != nil {
		return nil, err
	}
	r := &BallastReport{From: c.from, Where: c.where, ChamberML: c.mesh.VolumeMM3() / 1000, BallMM: b.BallMM, BallGPerML: b.BallGPerML, Packing: cmp.Or(b.Packing, "loose")}
	var faced bool
	if r.LeastMM, _, _, faced = throughWalls(c.mesh, 0); !faced {
		size := c.mesh.Bounds().Size()
		r.LeastMM = min(size.X, size.Y, size.Z)
	}
	resin := backfill.MixedDensity().GPerML
	if c.where == inCasting {
		resin = castGPerML
	}
	if r.Fill, err = material.BallFill(1000*r.ChamberML, b.BallGPerML, b.BallMM, r.LeastMM, resin); err != nil {
		return nil, s.file.wrong("ballast.ball_mm", "%w", err)
	}
	r.Used = r.Fill.Loose
	if r.Packing == "dense" {
		r.Used = r.Fill.Close
	}
	r.Balls = int(math.Round(r.Used.BallsML * 1000 / (math.Pi / 6 * math.Pow(b.BallMM, 3))))
	if c.where == inHollow {
		if r.Backfill, err = backfill.Shot([]material.Volume{{Name: "between the balls, loosely packed", VolumeMM3: 1000 * r.Fill.ResinML}}, s.file.plainShot()); err != nil {
			return nil, fmt.Errorf("the ballast's backfill: %w", err)
		}
	}
	if err := s.stand(r, c, castGPerML); err != nil {
		return nil, err
	}
	r.say()
	return r, nil
}

// down is the way down of the part as it stands in use, of any length.
func (b BallastRule) down() r3.Vec {
	if d := vecOf(b.Stands); d != (r3.Vec{}) {
		return d
	}
	return r3.Vec{Z: -1}
}

// stand weighs the casting with and without its ballast, and sets it on its lowest face.
func (s *trying) stand(r *BallastReport, c *chamber, castGPerML float64) error {
	up := geom.FrameTo(r3.Scale(-1, s.file.Ballast.down()))
	// The casting keeps the mass of what filled the cavity when it shrinks to the part's size.
	at := shrink(s.file, s.material)
	grown := 1 / ((1 - at.X/100) * (1 - at.Y/100) * (1 - at.Z/100))
	part, room := s.part.mesh.Map(up.Apply), c.mesh.Map(up.Apply)
	casting := material.Weighted{Name: "the casting", Mesh: part, DensityGPerML: castGPerML * grown}
	on := func(more ...material.Weighted) (Standing, error) {
		b, err := material.CentreOfGravity(append([]material.Weighted{casting}, more...)...)
		if err != nil {
			return Standing{}, fmt.Errorf("the ballast: %w", err)
		}
		st := Standing{MassG: b.MassG, AtMM: array(up.Inverse(b.At)), HighMM: b.At.Z - part.Bounds().Min.Z}
		stand, err := material.TipAngle(part, b.At)
		if err != nil {
			st.Problem = err.Error()
			return st, nil
		}
		st.TipDeg = &stand.TipDeg
		return st, nil
	}
	with := func(b material.Ballast) (Standing, error) {
		more := []material.Weighted{{Name: "the ballast", Mesh: room, DensityGPerML: b.DensityGML}}
		if r.Where == inCasting {
			more = append(more, material.Weighted{Name: "the resin that the ballast stands for", Mesh: room, DensityGPerML: -casting.DensityGPerML})
		}
		return on(more...)
	}
	var errs [4]error
	r.Without, errs[0] = on()
	r.With, errs[1] = with(r.Used)
	r.Loose, errs[2] = with(r.Fill.Loose)
	r.Close, errs[3] = with(r.Fill.Close)
	return errors.Join(errs[:]...)
}

func (r *BallastReport) say() {
	say := func(format string, args ...any) { r.Words = append(r.Words, fmt.Sprintf(format, args...)) }
	say("chamber: %s, %.2f mL, %.1f mm wide at its narrowest", r.From, r.ChamberML, r.LeastMM)
	say("%.1f g of balls of %g mm, about %d of them, packed %s (%.2f of the space, ± %d %%); loose %.1f g, dense %.1f g", r.Used.BallsG, r.BallMM, r.Balls, r.Packing, r.Used.Packing, randomOffPct, r.Fill.Loose.BallsG, r.Fill.Close.BallsG)
	if r.Where == inHollow {
		say("backfill: %.2f mL of resin between them, %.2f mL if they are shaken down; mix for the loose filling", r.Fill.Loose.ResinML, r.Fill.Close.ResinML)
	} else {
		say("the casting's own resin fills the gaps; it is counted as loosely packed")
	}
	say("mass %.1f g without balls, %.1f g with them (%.1f g loose, %.1f g dense)", r.Without.MassG, r.With.MassG, r.Loose.MassG, r.Close.MassG)
	for _, q := range []struct {
		name string
		s    Standing
	}{{"without balls", r.Without}, {"with balls", r.With}} {
		at := fmt.Sprintf("%s the centre of gravity is at x %.2f, y %.2f, z %.2f mm of the part", q.name, tidyZero(q.s.AtMM[0]), tidyZero(q.s.AtMM[1]), tidyZero(q.s.AtMM[2]))
		if q.s.TipDeg == nil {
			say("%s; it does not stand: %s", at, q.s.Problem)
			continue
		}
		say("%s, %.2f mm over the ground; it tips over at %.1f°", at, q.s.HighMM, *q.s.TipDeg)
	}
}

// tidyZero keeps a rounded place from being printed as -0.00.
func tidyZero(v float64) float64 {
	if math.Abs(v) < 0.005 {
		return 0
	}
	return v
}

// chamber is the room of the ballast, in the part's coordinates.
type chamber struct {
	from, where string
	mesh        *mesh.Mesh
}
