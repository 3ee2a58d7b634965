package fill

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// Hinge is an edge about which a lid is lowered: turning the lid by a positive angle about Along
// through At, by the right-hand rule, opens it.
type Hinge struct {
	Name      string `json:"name"`
	At, Along r3.Vec
}

// Lid is a half that was poured first and the lid that closes it. The zero value of the optional
// fields is sensible.
type Lid struct {
	// Base and Lid are the two pieces as they stand when closed, facets turned outward.
	Base, Lid *mesh.Mesh
	// Into is a point in the open half where the resin is poured; LiquidMM3 how much.
	Into      r3.Vec
	LiquidMM3 float64
	Up        r3.Vec // against gravity; zero means +z
	Hinge     Hinge
	FromDeg   float64 // the lid comes down parallel at this angle until the hinge touches, then turns

	// Within bounds what is followed, in plan across Up: the cavity and some of the land round it. What
	// reaches its edge is outside the mould. The zero box takes both pieces whole.
	Within r3.Box
	// Vents are mouths of sprue and vents in the closed lid's underside: air that stands at one is free,
	// however narrow it is. Bores that the lid has as holes need not be named.
	Vents []r3.Vec

	PitchMM float64 // 0 takes about lidColumns columns
	Steps   int     // of the turn, and of the descent; 0 means 40
	DropMM  float64 // where the descent begins above contact; 0 means clear of the base
}

const (
	lidColumns   = 6_000
	defaultSteps = 40
	// faceMM: closed faces that touch leave gaps of rounding; less than this is closed. Far below
	// any printed surface.
	faceMM = 1e-5
)

// LidStep is the state at one position of the lid.
type LidStep struct {
	AngleDeg   float64 `json:"angle_deg"`
	LiftMM     float64 `json:"lift_mm"`     // above contact, while it comes down parallel
	LevelMM    float64 `json:"level_mm"`    // of the resin, along Up
	TrappedMM3 float64 `json:"trapped_mm3"` // air under the lid without a way out
	OverMM3    float64 `json:"over_mm3"`    // resin that has run over or been pressed out so far
}

// LidResult of one closing.
type LidResult struct {
	Hinge      Hinge     `json:"hinge"`
	FromDeg    float64   `json:"from_deg"`
	TrappedMM3 float64   `json:"trapped_mm3"` // when closed
	ErrorMM3   float64   `json:"error_mm3"`   // against a run with half the steps at √2 times the pitch
	CavityMM3  float64   `json:"cavity_mm3"`  // space for resin and air when closed
	OverMM3    float64   `json:"over_mm3"`    // resin not in it when closed
	Pocket     r3.Vec    `json:"pocket"`      // highest point of the largest pocket
	MeetsMM3   float64   `json:"meets_mm3"`   // most by which lid and base overlap on the way
	MeetsDeg   float64   `json:"meets_deg"`   // where
	Steps      []LidStep `json:"steps"`
	Words      string    `json:"words"`
}

// CloseLid lowers a lid onto a half that was poured first, and follows resin and air.
//
// At every position the space between the pieces is cut into columns. The resin keeps its volume: its
// level is the height below which the space that it can reach holds it; what cannot stay below the
// rim runs over. Air that has no way out any more is caught, keeps its volume, stays at the highest
// place under the lid that it can reach, and is free again when it reaches the open. Resin is pushed
// aside at once: a lid lowered faster than the resin flows traps more.
//
// Errors: *OptionError, *NoSpaceError when the point is in neither piece's hollow, *OutsideError.
func CloseLid(ctx context.Context, l Lid) (*LidResult, error) {
	if err := l.complete(); err != nil {
		return nil, err
	}
	r, err := l.close(ctx)
	if err != nil {
		return nil, err
	}
	rough := l
	rough.PitchMM, rough.Steps = l.PitchMM*math.Sqrt2, max(2, l.Steps/2)
	o, err := rough.close(ctx)
	if err != nil {
		return nil, err
	}
	r.ErrorMM3 = math.Abs(r.TrappedMM3 - o.TrappedMM3)
	r.speak()
	return r, nil
}

func (l *Lid) complete() error {
	for _, m := range []*mesh.Mesh{l.Base, l.Lid} {
		if err := sound(m); err != nil {
			return fmt.Errorf("lid closing: %w", err)
		}
	}
	if r3.Norm(l.Up) == 0 {
		l.Up = r3.Vec{Z: 1}
	}
	if l.Steps == 0 {
		l.Steps = defaultSteps
	}
	if l.FromDeg != 0 && r3.Norm(l.Hinge.Along) == 0 {
		return &OptionError{"the length of the hinge's direction", 0, "above 0 when the lid is turned"}
	}
	for _, v := range []struct {
		name  string
		value float64
		top   float64
	}{{"the poured amount in mm³", l.LiquidMM3, math.Inf(1)}, {"the starting angle in degrees", l.FromDeg, 85}, {"the pitch in mm", l.PitchMM, math.Inf(1)}, {"the drop in mm", l.DropMM, math.Inf(1)}, {"the steps", float64(l.Steps), 1e5}} {
		if !(v.value >= 0 && v.value <= v.top) || math.IsInf(v.value, 0) {
			return &OptionError{v.name, v.value, fmt.Sprintf("from 0 to %g", v.top)}
		}
	}
	box := l.box(geom.FrameTo(l.Up))
	if l.PitchMM == 0 {
		l.PitchMM = math.Sqrt((box.Max.X - box.Min.X) * (box.Max.Y - box.Min.Y) / lidColumns)
	}
	return nil
}

// box is that of both pieces when closed, in the frame; in plan, what of it lies Within.
func (l *Lid) box(f geom.Frame) r3.Box {
	a, b := l.Base.Map(f.Apply).Bounds(), l.Lid.Map(f.Apply).Bounds()
	box := r3.Box{Min: r3.Vec{X: min(a.Min.X, b.Min.X), Y: min(a.Min.Y, b.Min.Y), Z: min(a.Min.Z, b.Min.Z)},
		Max: r3.Vec{X: max(a.Max.X, b.Max.X), Y: max(a.Max.Y, b.Max.Y), Z: max(a.Max.Z, b.Max.Z)}}
	if l.Within == (r3.Box{}) {
		return box
	}
	w := l.Within.Vertices()
	lo, hi := f.Apply(w[0]), f.Apply(w[0])
	for _, v := range w[1:] {
		p := f.Apply(v)
		lo = r3.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y)}
		hi = r3.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y)}
	}
	box.Min.X, box.Min.Y = max(box.Min.X, lo.X), max(box.Min.Y, lo.Y)
	box.Max.X, box.Max.Y = min(box.Max.X, hi.X), min(box.Max.Y, hi.Y)
	return box
}

// pose is a position of the lid.
type pose struct{ deg, lift float64 }

// poses come down parallel at the starting angle and turn to closed. The last part of each goes in
// smaller steps, where the resin reaches most of the lid.
func (l *Lid) poses(f geom.Frame) (out []pose) {
	ease := func(i int) float64 { s := 1 - float64(i)/float64(l.Steps); return s * s }
	drop := l.DropMM
	if drop == 0 {
		drop = max(0, l.Base.Map(f.Apply).Bounds().Max.Z-l.at(pose{deg: l.FromDeg}).Map(f.Apply).Bounds().Min.Z)
	}
	if drop == 0 {
		drop = math.Sqrt(faceMM) // a flat lid has to come down some way to be seen to come down
	}
	for i := range l.Steps {
		out = append(out, pose{l.FromDeg, drop * ease(i)})
	}
	if l.FromDeg > 0 {
		for i := range l.Steps {
			out = append(out, pose{l.FromDeg * ease(i), 0})
		}
	}
	return append(out, pose{})
}

// at is the lid in a pose.
func (l *Lid) at(p pose) *mesh.Mesh {
	if p == (pose{}) {
		return l.Lid
	}
	return l.Lid.Map(l.moved(p))
}

// moved takes a point of the closed lid to where it is in a pose.
func (l *Lid) moved(p pose) func(r3.Vec) r3.Vec {
	turn := r3.NewRotation(p.deg*math.Pi/180, l.Hinge.Along)
	up := r3.Scale(p.lift, r3.Unit(l.Up))
	return func(v r3.Vec) r3.Vec {
		if p.deg != 0 {
			v = r3.Add(l.Hinge.At, turn.Rotate(r3.Sub(v, l.Hinge.At)))
		}
		return r3.Add(v, up)
	}
}

// lidRun is one closing under way.
type lidRun struct {
	*Lid
	grid
	base   *columns // solid
	seed   r3.Vec   // in the frame
	liquid float64
	over   float64
	bottom float64
	prev   *lidState
	added  int // positions put in between
}

func (l *Lid) close(ctx context.Context) (*LidResult, error) {
	f := geom.FrameTo(l.Up)
	box := l.box(f)
	margin := 2 * l.PitchMM // a ring of columns outside, for what runs over
	box.Min.X, box.Min.Y = box.Min.X-margin, box.Min.Y-margin
	box.Max.X, box.Max.Y = box.Max.X+margin, box.Max.Y+margin
	g, err := gridOver(f, box, l.PitchMM)
	if err != nil {
		return nil, err
	}
	r := &lidRun{Lid: l, grid: g, seed: f.Apply(l.Into), liquid: l.LiquidMM3, bottom: box.Min.Z}
	if r.base, err = cutColumns(ctx, g, l.Base, 1); err != nil {
		return nil, err
	}
	out := &LidResult{Hinge: l.Hinge, FromDeg: l.FromDeg}
	path := l.poses(f)
	for i, p := range path {
		if err := r.advance(ctx, out, path[max(0, i-1)], p, halvings); err != nil {
			return nil, err
		}
	}
	last := r.prev
	out.TrappedMM3, out.OverMM3, out.CavityMM3 = last.trapped(), r.over, last.reach
	out.Pocket = f.Inverse(last.pocket())
	return out, nil
}

const (
	// halvings: the moment at which air is caught is known to 1/128 of a step.
	halvings = 7
	// caughtShare of the air under the lid already: what more is caught is worth a closer look.
	caughtShare = 0.02
	// swallowShare of the pitch: deeper air under the lid than this must not vanish in one step.
	// Hollows shallower than that may be missed.
	swallowShare = 0.5
	// moreMoves bounds the positions added to a closing in which air is caught little by little.
	moreMoves = 200
)

// advance moves the lid from one pose to the next. Where that catches air, the way is halved, and the
// half where it happens again: a lid that moved on at once would press part of the pocket away. So it
// is where resin covers at one go what was deep air: a pocket may have come and gone in between.
func (r *lidRun) advance(ctx context.Context, out *LidResult, from, to pose, depth int) error {
	s, met, err := r.move(ctx, to)
	if err != nil {
		return err
	}
	if r.prev != nil && depth > 0 && r.added < moreMoves &&
		(s.trapped() > r.prev.trapped()*(1+caughtShare)+defaultMinPocketMM3 || s.swallowed(r.prev, r.pitch*swallowShare)) {
		r.added++
		mid := pose{(from.deg + to.deg) / 2, (from.lift + to.lift) / 2}
		if err := r.advance(ctx, out, from, mid, depth-1); err != nil {
			return err
		}
		return r.advance(ctx, out, mid, to, depth-1)
	}
	if met > out.MeetsMM3 {
		out.MeetsMM3, out.MeetsDeg = met, to.deg
	}
	r.over += s.over
	r.liquid -= s.over
	out.Steps = append(out.Steps, LidStep{to.deg, to.lift, s.level, s.trapped(), r.over})
	r.prev = s
	return nil
}

// move puts the lid into a pose and settles resin and air there.
func (r *lidRun) move(ctx context.Context, p pose) (s *lidState, met float64, err error) {
	lid, err := cutColumns(ctx, r.grid, r.at(p), 1)
	if err != nil {
		return nil, 0, err
	}
	cols, sky, met := r.between(lid)
	n := len(cols.lo)
	s = &lidState{columns: cols, joints: cols.joined(), area: r.pitch * r.pitch, sky: sky, liquid: r.liquid,
		held: make([]int32, n), rise: make([]float64, n), out: make([]bool, n)}
	for i := range s.held {
		s.held[i] = noPocket
	}
	moved := r.moved(p)
	for _, v := range r.Vents {
		if at, ok := s.mouth(r.frame.Apply(moved(v))); ok {
			s.mouths = append(s.mouths, at)
		}
	}
	if err := s.settle(r); err != nil {
		return nil, 0, err
	}
	return s, met, nil
}

// between is the space that neither piece takes, column by column; sky marks the runs that are open
// upward. met is the volume that both pieces claim.
func (r *lidRun) between(lid *columns) (c *columns, sky []bool, met float64) {
	count := r.nx * r.ny
	most := len(r.base.lo) + len(lid.lo) + count
	c = &columns{grid: r.grid, first: make([]int32, count+1), column: make([]int32, 0, most),
		lo: make([]float64, 0, most), hi: make([]float64, 0, most)}
	sky = make([]bool, 0, most)
	top := r.bottom
	for _, z := range r.base.hi {
		top = max(top, z)
	}
	for _, z := range lid.hi {
		top = max(top, z)
	}
	top++
	for k := range count {
		i, j := r.base.first[k], lid.first[k]
		ends, lids := r.base.first[k+1], lid.first[k+1]
		z := r.bottom
		for i < ends || j < lids { // the solids of both, from the bottom up
			var lo, hi float64
			if j == lids || (i < ends && r.base.lo[i] <= lid.lo[j]) {
				lo, hi = r.base.lo[i], r.base.hi[i]
				i++
			} else {
				lo, hi = lid.lo[j], lid.hi[j]
				j++
			}
			if lo > z+faceMM {
				c.column, c.lo, c.hi, sky = append(c.column, int32(k)), append(c.lo, z), append(c.hi, lo), append(sky, false)
			} else if d := min(z, hi) - lo; d > faceMM && z > r.bottom {
				met += d * r.pitch * r.pitch
			}
			z = max(z, hi)
		}
		c.column, c.lo, c.hi, sky = append(c.column, int32(k)), append(c.lo, z), append(c.hi, top), append(sky, true)
		c.first[k+1] = int32(len(c.lo))
	}
	return c, sky, met
}

// speak puts the result into words.
func (r *LidResult) speak() {
	how := fmt.Sprintf("lowered from %.0f° about %s", r.FromDeg, r.Hinge.Name)
	if r.FromDeg == 0 {
		how = "put on flat"
	}
	if r.TrappedMM3 < r.ErrorMM3 || r.TrappedMM3 < defaultMinPocketMM3 {
		r.Words = fmt.Sprintf("%s, the lid traps no air to speak of (%.2g ± %.2g mm³)", how, r.TrappedMM3, r.ErrorMM3)
	} else {
		r.Words = fmt.Sprintf("%s, the lid traps %.3g ± %.2g mm³ of air, most of it at %s", how, r.TrappedMM3, r.ErrorMM3, place(r.Pocket))
	}
	r.Words += fmt.Sprintf("; %.2f mL runs over", r.OverMM3/1000)
	if r.MeetsMM3 > 0 {
		r.Words += fmt.Sprintf("; on the way lid and base run into each other by %.2g mm³ at %.1f°", r.MeetsMM3, r.MeetsDeg)
	}
}

// LidSearch compares closings.
type LidSearch struct {
	Lid
	// Hinges to try; nil tries the four edges of the base's top face. Angles to start from, degrees;
	// nil tries 0 (flat), 5, 10, 20 and 30.
	Hinges  []Hinge
	Angles  []float64
	Workers int // 0 means one a processor
	// Progress is told the share done; may be nil.
	Progress func(done float64)
}

// LidComparison is the table of closings, by hinge then angle, and the best of it.
type LidComparison struct {
	Closings []LidResult `json:"closings"`
	Best     int         `json:"best"` // least trapped air, then the least angle
	Flat     int         `json:"flat"` // −1 when no angle was 0
	Words    string      `json:"words"`
}

// TopEdges are the four edges of the top face of a box as hinges, named by the side they lie on.
func TopEdges(b r3.Box) []Hinge {
	mx, my, z := (b.Min.X+b.Max.X)/2, (b.Min.Y+b.Max.Y)/2, b.Max.Z
	return []Hinge{
		{"the −x edge", r3.Vec{X: b.Min.X, Y: my, Z: z}, r3.Vec{Y: -1}},
		{"the +x edge", r3.Vec{X: b.Max.X, Y: my, Z: z}, r3.Vec{Y: 1}},
		{"the −y edge", r3.Vec{X: mx, Y: b.Min.Y, Z: z}, r3.Vec{X: 1}},
		{"the +y edge", r3.Vec{X: mx, Y: b.Max.Y, Z: z}, r3.Vec{X: -1}},
	}
}

// SearchLid closes the lid about every hinge from every angle and recommends one.
func SearchLid(ctx context.Context, s LidSearch) (*LidComparison, error) {
	if err := s.complete(); err != nil {
		return nil, err
	}
	if s.Hinges == nil {
		s.Hinges = TopEdges(s.Base.Bounds())
	}
	if s.Angles == nil {
		s.Angles = []float64{0, 5, 10, 20, 30}
	}
	if s.Workers <= 0 {
		s.Workers = runtime.GOMAXPROCS(0)
	}
	jobs := s.closings()
	out := &LidComparison{Closings: make([]LidResult, len(jobs)), Flat: -1}
	which := make([]int, len(jobs))
	for i := range jobs {
		which[i] = i
	}
	tell := func(done float64) {
		if s.Progress != nil {
			s.Progress(done)
		}
	}
	err := eachOf(ctx, s.Workers, which, tell, func(i int) error {
		r, err := CloseLid(ctx, jobs[i])
		if err == nil {
			out.Closings[i] = *r
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	out.judge()
	out.speak()
	return out, nil
}

// closings lists what is compared, by hinge then angle; flat is flat, whatever the hinge.
func (s *LidSearch) closings() (out []Lid) {
	flat := false
	for _, h := range s.Hinges {
		for _, a := range s.Angles {
			if a == 0 && flat {
				continue
			}
			flat = flat || a == 0
			l := s.Lid
			l.Hinge, l.FromDeg = h, a
			out = append(out, l)
		}
	}
	return out
}

// eachOf does work on numbers, several at once, and gives the first error in their order.
func eachOf(ctx context.Context, workers int, which []int, progress func(float64), work func(i int) error) error {
	errs := make([]error, len(which))
	var next, done atomic.Int64
	var wg sync.WaitGroup
	var tell sync.Mutex
	for range min(workers, len(which)) {
		wg.Go(func() {
			for {
				n := int(next.Add(1)) - 1
				if n >= len(which) || ctx.Err() != nil {
					return
				}
				errs[n] = work(which[n])
				tell.Lock()
				progress(float64(done.Add(1)) / float64(len(which)))
				tell.Unlock()
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("compare ways to close the lid: %w", err)
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// judge names the best closing and the flat one.
func (c *LidComparison) judge() {
	c.Best, c.Flat = 0, -1
	for i := range c.Closings {
		if c.Closings[i].FromDeg == 0 {
			c.Flat = i
		}
		if c.better(i, c.Best) {
			c.Best = i
		}
	}
}

// better says that closing i is to be preferred to j.
func (c *LidComparison) better(i, j int) bool {
	a, b := &c.Closings[i], &c.Closings[j]
	worth := func(r *LidResult) float64 { return math.Floor(r.TrappedMM3 / defaultMinPocketMM3) }
	return cmp.Or(cmp.Compare(a.MeetsMM3, b.MeetsMM3), cmp.Compare(worth(a), worth(b)), cmp.Compare(a.FromDeg, b.FromDeg),
		cmp.Compare(a.TrappedMM3, b.TrappedMM3)) < 0
}

// speak says the best closing, and the flat one beside it.
func (c *LidComparison) speak() {
	c.Words = c.Closings[c.Best].Words
	if c.Flat >= 0 && c.Flat != c.Best {
		c.Words += "; " + c.Closings[c.Flat].Words
	}
}
