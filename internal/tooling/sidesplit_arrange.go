package tooling

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	besideMM = 4.0 // least mould between the cavity and a feature
	aroundMM = 3.0 // least mould between a feature and the outside, or another feature

	// Rails stand on the whole half and run along the side, widest under the split. They narrow outward
	// and upward, so that a side piece that moves out is free of them at once. The two differ, so that the
	// side pieces do not go on the wrong way round.
	railHalfMM, railOddMM = 3.0, 1.0
	railHighMM            = 4.0
	railDraftDeg          = 10.0
	railTaperDeg          = 3.0
	railTipMM             = 1.2 // least half width of a rail at its end
	railRootMM            = 2.0

	// Cones stand on side piece 2 and enter side piece 1, round the bolts that hold the two together where
	// there are any.
	coneMM, coneOddMM = 4.0, 1.0 // radius without a bolt; the odd one is larger
	coneWallMM        = 3.0      // of a cone round its bolt, at the tip
	coneHighMM        = 5.0
	coneDraftDeg      = 8.0
	coneRootMM        = 2.0

	sidePryWideMM, sidePryDeepMM, sidePryOpenMM, sidePryEndMM = 10.0, 8.0, 2.0, 0.5
)

// sideLayout is where everything stands. Bolts between the side pieces and cones run along x, at places in
// y and z beside the part; bolts that clamp the side pieces to the whole half are upright, at the ends.
type sideLayout struct {
	foot   r2.Box
	part   r3.Box       // round all cavities
	at     []float64    // y of each of several cavities; nil for one
	bays   [][2]float64 // y from and to of the cavities between two lanes
	longer [2]float64   // made longer for the seats of bolts along x: side piece 2 and 1
	clearY float64      // from the part to what stands beside it
	clamp  *Bolt        // upright
	clamps []r2.Vec
	cross  *Bolt    // along x
	across []r2.Vec // y and z, of bolts and cones
	cones  []sideCone
	rails  []sideRail
	pries  []float64 // y
}

type sideCone struct {
	at   r2.Vec // y and z
	base float64
}

// sideRail runs along x at y, from end to end.
type sideRail struct{ y, half, from, to float64 }

// laneMM is the radius of what stands beside the part: the widest cone, bolt or rail.
func (b *sideSplit) laneMM() float64 {
	r := 0.0
	if b.opt.Keys >= 0 {
		r = max(b.coneRadius(true)+b.opt.KeyClearance, railHalfMM+railOddMM+b.opt.KeyClearance)
	}
	if b.plan.cross != nil {
		r = max(r, b.plan.cross.RadiusMM())
	}
	return r
}

// coneRadius is that of a cone where it leaves side piece 2.
func (b *sideSplit) coneRadius(odd bool) float64 {
	r := coneMM
	if b.plan.cross != nil {
		r = max(r, b.plan.cross.Thread.HoleMM/2+coneWallMM+coneHighMM*math.Tan(coneDraftDeg*math.Pi/180))
	}
	if odd {
		r += coneOddMM
	}
	return r
}

// sideLongerMM is how much longer than it falls short a side piece is made for a bolt's seat: a longer block
// sinks the nut deeper, until the next length of screw reaches, which is 5 mm off.
const sideLongerMM = 2.5

// sideRounds bounds how often block and bolts are fitted to each other; two or three do as a rule, and
// checks on the seats catch what is left.
const sideRounds = 12

// arrange sizes the block round the part and places what holds it together. Bolts depend on the block's
// length, and the block on the bolts, so a first guess is corrected until nothing changes.
func (b *sideSplit) arrange() error {
	o := b.opt
	if o.Bolt != NoBolts {
		// Head and nut of any thread that the length may ask for must have room.
		guess, err := chooseSideBolt(o.Bolt, b.mould.Part.Bounds().Size().X+2*o.WallMM)
		if err != nil {
			return err
		}
		b.plan.cross = guess
	}
	for range sideRounds {
		if err := b.arrangeRound(); err != nil {
			return err
		}
		if o.Bolt == NoBolts {
			break
		}
		f := b.plan.foot
		bolt, err := chooseSideBolt(o.Bolt, f.Max.X-f.Min.X)
		if err != nil {
			return err
		}
		same := bolt.Thread.Name == b.plan.cross.Thread.Name
		b.plan.cross = bolt
		fits := true
		for i, room := range [2]float64{b.splitX - f.Min.X - bolt.PocketMM, f.Max.X - b.splitX - bolt.CounterboreMM} {
			if less := bolt.Options.MinWallMM - room; less > limitSlackMM {
				b.plan.longer[i] += less + sideLongerMM
				fits = false
			}
		}
		if same && fits {
			break
		}
	}
	b.placeAlong()
	return nil
}

// firstThread chooses a screw of the thread asked for, or of the first of the usual ones that comes long enough.
func firstThread(asked string, choose func(thread string) error) error {
	names := defaultThreads
	if asked != "" {
		names = []string{asked}
	}
	var first error
	for _, t := range names {
		err := choose(t)
		if err == nil || !errors.Is(err, ErrNoBolt) {
			return err
		}
		first = cmp.Or(first, err)
	}
	return first
}

// chooseSideBolt takes a screw for a grip.
func chooseSideBolt(thread string, lengthMM float64) (*Bolt, error) {
	var bolt Bolt
	err := firstThread(thread, func(t string) (err error) {
		bolt, err = ChooseBolt(lengthMM, BoltOptions{Thread: t})
		return err
	})
	if errors.Is(err, ErrNoBolt) {
		return nil, fmt.Errorf("tooling: bolts across the side split: %w; choose another thread, or \"none\"", err)
	}
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	return &bolt, nil
}

// arrangeRound sets the block's outline and heights for the bolts chosen so far.
func (b *sideSplit) arrangeRound() error {
	o, part := b.opt, b.mould.Part.Bounds()
	narrow := part.Size().Y
	lane := b.laneMM()
	z0 := part.Min.Z - o.FloorMM
	z1 := max(part.Max.Z+o.FloorMM, b.parting.MaxZ+b.overRail()+2*lane+aroundMM)
	if o.PrySlots > 0 && lane > 0 {
		z1 = max(z1, b.parting.MaxZ+b.overRail()+2*lane+aroundMM+sidePryDeepMM)
	}
	if o.Keys >= 0 {
		z0 = min(z0, b.parting.MinZ-railRootMM-aroundMM)
	}
	inX := o.WallMM
	b.plan.clamp, b.plan.clearY = nil, besideMM
	if o.Bolt != NoBolts {
		bolt, low, high, err := b.chooseClamp(z0, z1)
		if err != nil {
			return err
		}
		b.plan.clamp, z0, z1 = &bolt, low, high
		inX = max(inX, besideMM+2*bolt.RadiusMM()+aroundMM)
		// A clamp stands between the lanes, however narrow the part.
		b.plan.clearY = max(b.plan.clearY, bolt.RadiusMM()+aroundMM-narrow/2)
	}
	part = b.lineUp(part, lane)
	b.plan.part = part
	inY := o.WallMM
	if lane > 0 {
		inY = max(inY, b.plan.clearY+2*lane+aroundMM)
	}
	b.plan.foot = r2.Box{Min: r2.Vec{X: part.Min.X - inX, Y: part.Min.Y - inY}, Max: r2.Vec{X: part.Max.X + inX, Y: part.Max.Y + inY}}
	b.plan.foot.Min.X -= b.plan.longer[0]
	b.plan.foot.Max.X += b.plan.longer[1]
	f := b.plan.foot
	b.mould.Block = r3.Box{Min: r3.Vec{X: f.Min.X, Y: f.Min.Y, Z: z0}, Max: r3.Vec{X: f.Max.X, Y: f.Max.Y, Z: z1}}
	return nil
}

// overRail is the height over the parting line at which cones and bolts may begin.
func (b *sideSplit) overRail() float64 {
	if b.opt.Keys < 0 {
		return aroundMM
	}
	return railHighMM + b.opt.KeyClearance + aroundMM
}

func (b *sideSplit) chooseClamp(z0, z1 float64) (bolt Bolt, low, high float64, err error) {
	err = firstThread(b.opt.Bolt, func(t string) (err error) {
		bolt, low, high, err = chooseBlockBolt(t, b.parting, z0, z1)
		return err
	})
	return bolt, low, high, err
}

// placeAlong finds the places in the block.
func (b *sideSplit) placeAlong() {
	o, part, block := b.opt, b.plan.part, b.mould.Block
	lane := b.laneMM()
	ys := []float64{part.Min.Y - b.plan.clearY - lane, part.Max.Y + b.plan.clearY + lane}
	for i, bay := range b.plan.bays[1:] { // between cavities; cones and pry slots go to the outermost lanes
		ys = append(ys, math.Round((b.plan.bays[i][1]+bay[0])/2/packStepMM)*packStepMM+0)
	}
	low := b.parting.MaxZ + b.overRail() + lane
	high := block.Max.Z - aroundMM - lane
	if o.PrySlots > 0 {
		high -= sidePryDeepMM
	}
	rows := []float64{(low + high) / 2}
	if n := int(math.Ceil((high - low) / o.BoltPitchMM)); n > 0 && high-low > 2*lane+2*aroundMM && high-low > o.BoltPitchMM/2 {
		rows = nil
		for i := range n + 1 {
			rows = append(rows, low+(high-low)*float64(i)/float64(n))
		}
	}
	for _, z := range rows {
		for _, y := range ys {
			at := r2.Vec{X: y, Y: z}
			if o.Keys >= 0 && len(b.plan.cones) < o.Keys {
				b.plan.cones = append(b.plan.cones, sideCone{at, b.coneRadius(len(b.plan.cones) == 0)})
			}
			if b.plan.cross != nil {
				b.plan.across = append(b.plan.across, at)
			}
		}
	}
	if o.Keys >= 0 {
		for i, y := range ys {
			half := railHalfMM
			if i == 0 {
				half += railOddMM
			}
			b.plan.rails = append(b.plan.rails, sideRail{y, half, block.Min.X + aroundMM, block.Max.X - aroundMM})
		}
	}
	if lane > 0 {
		for i := range min(max(0, o.PrySlots), 2) {
			b.plan.pries = append(b.plan.pries, ys[i])
		}
	}
	b.placeClamps()
}

// placeClamps sets the upright bolts in the middle of both ends, or evenly along them, between the lanes.
func (b *sideSplit) placeClamps() {
	if b.plan.clamp == nil {
		return
	}
	block := b.mould.Block
	in := aroundMM + b.plan.clamp.RadiusMM()
	for _, x := range []float64{block.Max.X - in, block.Min.X + in} {
		for _, bay := range b.plan.bays {
			// Clear of what stands in the lanes.
			lo, hi := bay[0]-b.plan.clearY+in, bay[1]+b.plan.clearY-in
			n := 1
			if hi-lo > 2*in {
				n = 1 + int(math.Ceil((hi-lo)/b.opt.BoltPitchMM))
			}
			for i := range n {
				y := (lo + hi) / 2
				if n > 1 {
					y = lo + (hi-lo)*float64(i)/float64(n-1)
				}
				b.plan.clamps = append(b.plan.clamps, r2.Vec{X: x, Y: y})
			}
		}
	}
}
