package tooling

import (
	"context"
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/offset"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// BlockFamily names the moulds that BlockMould builds.
const BlockFamily = "two-part silicone block"

// Names of a block mould's pieces, beside PouringBox and Master.
const (
	PartingBoard = "parting board"
	UpperBlock   = "upper silicone block"
	LowerBlock   = "lower silicone block"
)

// BlockMould builds a mould of two blocks of silicone for a part that must be closed:
//
//  1. the parting board stands in the pouring box with the master's lower side sunk in it, and silicone is
//     poured over both: the upper block, with the board's domes as dimples;
//  2. all is turned over, the board taken away, the silicone coated with release agent, and the lower
//     block poured on it;
//  3. the blocks come apart, the master comes out, and they go back into the box, between two plates, to be
//     poured through the sprue that the master's stalk left.
//
// Pieces holds the printed bodies at the size at which silicone is poured and the blocks as cured. The mould
// comes back even when checks fail, so that the caller can say why; Failed lists them.
func BlockMould(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt BlockOptions) (*Set, error) {
	o := opt.withDefaults()
	if err := o.check(len(part.Tris)); err != nil {
		return nil, err
	}
	b, err := apartEnough(o.Cavities, &o.CavityGapMM, func() (*blockMould, error) { return makeBlock(ctx, pool, part, o) })
	if err != nil {
		return nil, err
	}
	if err := b.verify(ctx); err != nil {
		return nil, err
	}
	o.Progress.tell("done", 1)
	return b.set, nil
}

// makeBlock plans a two-part block and makes its pieces.
func makeBlock(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, o BlockOptions) (*blockMould, error) {
	b, err := planBlock(ctx, part, o)
	if err != nil {
		return nil, err
	}
	o.Progress.tell("cutting the pieces", 0.4)
	return b, pool.Do(ctx, func(k *solid.Kernel) error { return b.cut(ctx, k) })
}

// blockMould is a two-part block under construction.
type blockMould struct {
	*siliconeBlock
	opt    BlockOptions
	feed   feed
	keys   []Key
	pocket *mesh.Mesh // what the board leaves to the master, swept upward
}

// boardRule divides the part: the lower side lies in the rigid board while the first half is poured, so a
// catch there costs ten times as much as one in the silicone.
var boardRule = splitRule{lowCatch: 10 * softRule.lowCatch, upCatch: softRule.upCatch, showUp: softRule.showUp}

// blockKey is a dome of one block in the other: low and blunt, for silicone fills its mould without
// clearance and has to leave it.
var blockKey = KeyOptions{RadiusMM: 3, HeightMM: 3, DraftDeg: 15, RootMM: 1, OddRadiusMM: 1, LeastTipMM: 1, LeastCoverMM: 2}

// keyEdgeMM is kept between a dome and both the part and the block's sides.
const keyEdgeMM = 1.5

// planBlock does all that needs no booleans. Where no direction is asked for and the best one leaves no place
// for the sprue, or has no line, the part's axes are tried.
func planBlock(ctx context.Context, part *mesh.Mesh, o BlockOptions) (*blockMould, error) {
	o.Progress.tell("choosing the split", 0)
	b, err := planBlockAlong(ctx, part, o, o.Direction)
	if err == nil || r3.Norm(o.Direction) > 0 || errors.Is(err, ErrBodies) {
		return b, err
	}
	for _, axis := range ownAxes(part) {
		b, no := planBlockAlong(ctx, part, o, axis)
		if ctx.Err() != nil {
			return nil, fmt.Errorf("tooling: %w", ctx.Err())
		}
		if no == nil {
			return b, nil
		}
	}
	return nil, err
}

// ownAxes are the part's axes, each both ways, in the order in which they are tried.
func ownAxes(part *mesh.Mesh) (out []r3.Vec) {
	for _, a := range mouldability.Axes(part) {
		out = append(out, a, r3.Vec{X: 0 - a.X, Y: 0 - a.Y, Z: 0 - a.Z})
	}
	return out
}

// planBlockAlong plans the block whose upper half leaves along d.
func planBlockAlong(ctx context.Context, part *mesh.Mesh, o BlockOptions, d r3.Vec) (*blockMould, error) {
	s, err := planSilicone(ctx, part, siliconePlan{family: BlockFamily, rule: boardRule, direction: d, shrinkPct: o.ShrinkPct, show: o.Show,
		siliconeShrinkPct: o.SiliconeShrinkPct})
	if err != nil {
		return nil, err
	}
	b := &blockMould{siliconeBlock: s, opt: o}
	b.set.Casting = []string{PouringBox, UpperBlock, LowerBlock}
	o.Progress.tell("laying the parting surface", 0.1)
	b.sizeBox()
	if o.Cavities > 1 {
		err = b.layPacked(ctx, b.packOptions(o.Cavities, o.CavityGapMM, o.BuildVolumeMM), func() error {
			b.sizeBox()
			return b.lay(ctx)
		})
	} else {
		err = b.lay(ctx)
	}
	if err != nil {
		return nil, err
	}
	if err := b.placeKeys(); err != nil {
		return nil, err
	}
	if err := b.placeFeed(); err != nil {
		return nil, err
	}
	o.Progress.tell("shaping the board", 0.2)
	return b, b.shapeBoard(ctx)
}

// sizeBox makes the box round the part, or all of them, with room for the domes.
func (b *blockMould) sizeBox() {
	o, box := b.opt, b.mould.Part.Bounds()
	wide := r3.Vec{X: o.BlockMM, Y: o.BlockMM, Z: o.BlockMM}
	silicone := r3.Box{Min: r3.Sub(box.Min, wide), Max: r3.Add(box.Max, wide)}
	if o.Keys > 0 {
		silicone.Max.Z = max(silicone.Max.Z, b.parting.MaxZ+blockKey.HeightMM+blockKey.LeastCoverMM+keyEdgeMM)
		silicone.Min.Z = min(silicone.Min.Z, b.parting.MinZ-blockKey.RootMM-blockKey.LeastCoverMM)
	}
	b.box = newPouringBox(r3.Vec{Z: -1}, silicone, o.DraftDeg, o.WallMM, o.FreeMM)
}

// placeKeys puts domes into the block's corners and, where the part leaves no room there, half-way along
// its sides. The first is the odd one.
func (b *blockMould) placeKeys() error {
	in, mid := b.box.block, r3.Scale(0.5, r3.Add(b.box.block.Min, b.box.block.Max))
	half := r3.Scale(0.5, in.Size())
	reach := blockKey.RadiusMM + blockKey.OddRadiusMM + keyEdgeMM
	for _, c := range [][2]float64{{-1, -1}, {1, 1}, {1, -1}, {-1, 1}, {0, -1}, {0, 1}, {-1, 0}, {1, 0}} {
		if len(b.keys) >= max(0, b.opt.Keys) {
			break
		}
		at := r2.Vec{X: mid.X + c[0]*(half.X-reach), Y: mid.Y + c[1]*(half.Y-reach)}
		odd := len(b.keys) == 0
		if odd { // off the diagonal, on which a square block could be turned over
			at.X -= c[0] * blockKey.RadiusMM
		}
		room := gapToOutline(disc(at, blockKey.RadiusMM), b.mould.Shadow)
		if odd {
			room -= blockKey.OddRadiusMM
		}
		if room < keyEdgeMM {
			continue
		}
		key, err := NewKey(at, odd, in, b.field, blockKey)
		if err != nil {
			continue // steep there: another place
		}
		key.ClearanceMM = 0
		b.keys = append(b.keys, key)
	}
	if b.opt.Keys < 0 {
		return nil
	}
	// The blocks are poured one on the other: a wrong turn need only show.
	b.mould.Checks = append(b.mould.Checks, KeysCloseOneWay(b.keys, true, keyMisfitMM))
	for i, key := range b.keys {
		f := key.Feature(fmt.Sprintf("K%d", i+1))
		f.Words = fmt.Sprintf("dome of the lower block in the upper, %.1f mm to %.1f mm diameter, %.0f° draft, poured without clearance", 2*key.BaseRadius, 2*key.TipRadius, key.DraftDeg)
		b.mould.Features = append(b.mould.Features, f)
	}
	return nil
}

// keyMisfitMM is how far a wrongly turned block must be stopped: what a hand feels.
const keyMisfitMM = 0.3

// stalkMM is how far stalk and pins stand out of the silicone.
const stalkMM = 2.0

// placeFeed finds places for the stalk and the pins on the upper side, off the show faces.
func (b *blockMould) placeFeed() error {
	top, source := b.oneTop()
	if top == nil {
		return fmt.Errorf("tooling: no face of the part lies open upward: %w; choose another direction", ErrSprue)
	}
	noted := len(b.mould.Notes)
	t := &twoHalves{opt: TwoHalfOptions{Show: b.opt.Show, SprueMM: b.opt.SprueMM, Vents: b.opt.Vents, VentMM: b.opt.VentMM, LeastWallMM: b.opt.LeastWallMM},
		mould: b.mould, parting: b.one(), shadow: b.oneShadow(), top: top, topSource: source, z1: b.box.block.Max.Z + stalkMM}
	f, err := t.uprightFeed()
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	if got := 2 * f.sprue.(Sprue).TopRadius; got < b.opt.SprueMM {
		b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("no place on the upper faces takes a sprue of %.1f mm: this one is %.1f mm across at the top, so the mould fills slower", b.opt.SprueMM, got))
	}
	if b.cell != nil {
		f = f.placed(b.mould.Cavities)
		t.top, t.topSource = openUpward(b.parting)
		for i := noted; i < len(b.mould.Notes); i++ {
			b.mould.Notes[i] = "each cavity: " + b.mould.Notes[i]
		}
	}
	for i, c := range f.all() {
		check := c.offShow(t)
		if kind, _ := f.named(i); kind == "vent" {
			check.Name = "vent off the show faces"
		}
		b.mould.Checks = append(b.mould.Checks, check)
	}
	b.feed = f
	return nil
}

// boardDraftDeg is the least draft of the board's hollow: it lets a printed master out of a printed board.
const boardDraftDeg = 1.0

// shapeBoard finds the hollow of the board: the underside of all that lies within the clearance of the
// master's lower side, swept upward, so that the master lifts out whatever its shape. The hollow is raised
// again by most of the clearance, so that the master rests at its height on what lies flat.
func (b *blockMould) shapeBoard(ctx context.Context) error {
	one := b.one()
	src := &mesh.Mesh{Verts: one.Mesh.Verts}
	for f, t := range one.Mesh.Tris {
		if !one.Upper[f] {
			src.Tris = append(src.Tris, t)
		}
	}
	top := b.parting.MaxZ
	for _, v := range b.surface.Verts[len(b.parting.Mesh.Verts):] {
		top = max(top, v.Z)
	}
	clear := b.opt.BoardClearMM
	s, err := offset.Under(ctx, compact(src), offset.UnderOptions{ThicknessMM: clear, TopMM: top + clear + overSurfaceMM, DraftDeg: boardDraftDeg, ErrorMM: b.opt.ErrorMM,
		Workers: b.opt.Workers, Progress: func(d float64) { b.opt.Progress.tell("shaping the board", 0.2+0.2*d) }})
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", PartingBoard, err)
	}
	raise := clear - 2*b.opt.ErrorMM
	up := make([]r3.Vec, len(s.Verts))
	for i, v := range s.Verts {
		up[i] = r3.Vec{X: v.X, Y: v.Y, Z: v.Z + raise}
	}
	b.pocket = compact(apron(&Surface{Verts: up, Tris: s.Tris}, s.TopMM+raise+overshootMM, true))
	if b.cell != nil { // the same hollow for all
		b.pocket = CavityMeshes(b.pocket, b.mould.Cavities)
	}
	return nil
}

// seam measures how wide the gap between board and master is along the parting line.
func (b *blockMould) seam() (widest float64, at r3.Vec) {
	board := b.mould.piece(PartingBoard)
	tree := geom.NewBVH(board.Verts, board.Tris)
	for _, line := range b.mould.Line {
		for _, v := range line {
			if d := tree.Nearest(b.larger(v)).Distance; d > widest {
				widest, at = d, v
			}
		}
	}
	return widest, at
}

// mostSeamMM is the widest gap that wax or modelling clay closes clean along the line (common practice,
// no source).
const mostSeamMM = 1.0

// verify runs the checks on the finished pieces.
func (b *blockMould) verify(ctx context.Context) error {
	o, m := b.opt, b.mould
	o.Progress.tell("checking walls", 0.7)
	if err := b.printed(ctx, o.BuildVolumeMM, o.LeastWallMM, PouringBox, PartingBoard, Master); err != nil {
		return err
	}
	if err := b.boardWall(ctx); err != nil {
		return err
	}
	m.Checks = append(m.Checks, slope(m.Surface))
	if err := b.thickness(ctx, o.BlockMM); err != nil {
		return err
	}
	b.between(o.CavityGapMM)
	gap, at := b.seam()
	m.Checks = append(m.Checks, Check{Name: "seam between board and master", OK: gap <= mostSeamMM, Value: gap, Limit: mostSeamMM, Unit: "mm",
		Words: fmt.Sprintf("at most %.2f mm, at %s; close it with wax before pouring", gap, placeWords(at))})
	for _, c := range b.feed.vents {
		if d := 2 * c.(Sprue).TopRadius; short(d, o.LeastWallMM) {
			m.Checks = append(m.Checks, Check{Name: Master + ": thinnest pin", Value: d, Limit: o.LeastWallMM, Unit: "mm",
				Words: fmt.Sprintf("a vent pin is %.2f mm across at its end: make vents wider", d)})
		}
	}
	o.Progress.tell("proving that it opens", 0.8)
	if err := b.prove(ctx); err != nil {
		return err
	}
	if err := b.set.judgeRelease(ctx, b.ask(o.Casting, o.Silicone)); err != nil {
		return err
	}
	if b.cell != nil {
		if err := b.set.judgeBetween(ctx, &softCavities{places: b.mould.Cavities}, o.CavityGapMM, b.ask(o.Casting, o.Silicone), UpperBlock, LowerBlock); err != nil {
			return err
		}
	}
	b.notes()
	return nil
}

// boardWall measures the board under the master.
func (b *blockMould) boardWall(ctx context.Context) error {
	board := b.mould.piece(PartingBoard)
	tree := geom.NewBVH(board.Verts, board.Tris)
	hollow := b.pocket.Map(b.larger)
	own := geom.NewBVH(hollow.Verts, hollow.Tris)
	w, rib := Wall{ThicknessMM: math.Inf(1)}, Wall{ThicknessMM: math.Inf(1)}
	for f := range b.pocket.Tris {
		if f%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		t := b.pocket.Facet(f)
		n := t.Normal()
		if n.Z >= 0 {
			continue
		}
		n = r3.Unit(n)
		from := b.larger(t.Centroid())
		hit, ok := tree.FirstHit(r3.Add(from, r3.Scale(boardSkinMM, n)), n, 0, math.Inf(1))
		if !ok {
			continue
		}
		// Only the board's outside counts: up to the parting surface every hollow comes with an edge, and
		// what is not in the board at all meets that surface first.
		out := board.Facet(hit.Facet).Normal()
		if out.Z > upwardMost*r3.Norm(out) {
			continue
		}
		d, kind := hit.T+boardSkinMM, &w
		if own.Nearest(r3.Add(from, r3.Scale(d, n))).Distance <= boardSkinMM {
			kind = &rib // between two places of the hollow: as thin as the part asks for
		}
		if d < kind.ThicknessMM {
			kind.ThicknessMM, kind.At = d, from
		}
	}
	b.mould.Checks = append(b.mould.Checks, wallCheck(PartingBoard, w, b.opt.LeastWallMM))
	if short(rib.ThicknessMM, b.opt.LeastWallMM) {
		b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("%s: a ridge is only %.2f mm thick at %s (mould frame), thinner than the %.1f mm that prints soundly: it may come out rough or break off",
			PartingBoard, rib.ThicknessMM, placeWords(rib.At), b.opt.LeastWallMM))
	}
	return nil
}

const (
	// boardSkinMM is how far inside the board a ray starts: over what finishing a piece moves a facet.
	boardSkinMM = 1e-3
	// upwardMost tells the board's drafted sides from its parting surface, whose slope is checked.
	upwardMost = 0.17
	// wallFacing: a face within 60° of square to an axis bounds the box's wall along it.
	wallFacing = 0.5
)

// prove proves the stages in order.
func (b *blockMould) prove(ctx context.Context) error {
	up, down := r3.Vec{Z: 1}, r3.Vec{Z: -1}
	// Silicone comes off the master as it was poured, and off the casting as it has cured.
	box, board, master := b.body(PouringBox, false), b.body(PartingBoard, false), b.body(Master, false)
	first, second := b.body(UpperBlock, true), b.body(LowerBlock, true)
	casting := opening.Body{Name: castingName, Mesh: b.mould.Cast}
	wall := b.siliconeWallMM(b.opt.BlockMM, b.opt.CavityGapMM)
	sides := []opening.ReleaseBody{{Name: UpperBlock, Exit: up, WallMM: wall}, {Name: LowerBlock, Exit: down, WallMM: wall}}
	shapes := func(f int) int {
		if b.one().Upper[f] {
			return 0
		}
		return 1
	}
	// By their places in the list below.
	b.soft[6] = softStage{from: sides, shapes: shapes, caught: 0}
	b.soft[7] = softStage{from: sides, shapes: shapes, caught: 1}
	b.soft[8] = softStage{from: sides, shapes: shapes, caught: 0, casting: true}
	b.soft[9] = softStage{from: sides, shapes: shapes, caught: 1, casting: true}
	return b.set.prove(ctx, []stagePlan{
		{"the parting board leaves the pouring box", board, box, down, true},
		{"the parting board leaves the master", board, master, down, true},
		{"the parting board leaves the upper block", board, first, down, true},
		{"the upper block leaves the pouring box", first, box, down, true},
		{"the lower block leaves the pouring box", second, box, down, true},
		{"the upper block leaves the lower block", first, second, up, true},
		{"the upper block leaves the master", first, master, up, false},
		{"the master leaves the lower block", master, second, up, false},
		{"the upper block leaves the casting", b.body(UpperBlock, false), casting, up, false},
		{"the casting leaves the lower block", casting, b.body(LowerBlock, false), up, false},
	}, opening.Options{ToleranceMM: b.opt.ToleranceMM, Workers: b.opt.Workers}, func(done float64) { b.opt.Progress.tell("proving that it opens", 0.8+0.15*done) })
}

// notes tells the maker what the build decided and what to mind.
func (b *blockMould) notes() {
	m, p := b.mould, b.set.Pours
	m.Notes = append(m.Notes,
		fmt.Sprintf("pour %.1f mL of silicone for the upper block, then %.1f mL for the lower one, each up to the marks in the box; %s", p[0].ML, p[1].ML, b.fillWords()),
		"close the seams between board, box and master with wax before the first pour, and coat the cured upper block with release agent before the second: silicone bonds to silicone",
		"clamp the blocks between two flat plates in the pouring box while the part is cast: tight enough to close the line, no tighter, or the part comes out thin")
	b.manyNotes()
	if n := airTraps(b.one(), Upper, 1) + airTraps(b.one(), Lower, -1); n > 0 {
		m.Notes = append(m.Notes, fmt.Sprintf("hollows of the master in which air stays under the silicone: %d; brush silicone into them before you pour", n))
	}
}
