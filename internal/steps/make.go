package steps

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"mouldwright/internal/job"
	"mouldwright/internal/material"
	"mouldwright/internal/tooling"
)

// ErrNoMould says that a report has no mould to work with.
var ErrNoMould = errors.New("the job has no mould; run it first, and see its report")

// stage is one pour: the silicone of an insert, or the casting.
type stage struct {
	name    string
	printed []string // names of the printed pieces that it touches; nil: all of the report
	soft    []string // names of the silicone pieces that it touches
	pours   string   // the silicone piece that it makes, of Bench.Silicone; "" for the casting
	ballast bool     // the backfill of a ballast, poured into the finished casting
	brim    bool     // filled to the brim of an open tray, without a lid
	into    string   // where silicone is poured, and how far; "" for a fill port
	closes  string   // how the pieces are put together for it, where no bolts do it
	byHand  bool     // opens says all of how it comes apart
	fixed   string   // the piece that stays where it is at opening
	covered []string // the pieces whose cavity a soft piece fills, so that only their rim is touched
	ports   string   // the piece whose fill port and vents it uses; "" for all there are
	turned  string   // what is done once it has cured, where the mould stays closed then; "" where it is opened
	closed  bool     // the mould was closed for the stage before and is so still
	longer  string   // where longer bolts may be needed: words of the run's note that names them; "" where they are the mould's
	opens   string   // what it says of opening, at the end
	proof   string   // the report's lines on opening that hold this word are this stage's
}

// silicone says whether the stage makes a piece of the mould.
func (s stage) silicone() bool { return s.pours != "" }

// casting says whether it pours the casting itself.
func (s stage) casting() bool { return !s.silicone() && !s.ballast }

// families lists the stages of each family of mould; one that is not listed is taken as one pour
// between printed pieces.
var families = map[string][]stage{
	tooling.InsertFamily: {
		{name: "insert", printed: []string{tooling.Cradle, tooling.PatternCap}, pours: tooling.InsertBody, fixed: tooling.Cradle, proof: tooling.PatternCap,
			opens: "Leave the silicone insert in the cradle, or put it back with its keys seated."},
		{name: "casting", printed: []string{tooling.Cradle, tooling.CastingCap}, soft: []string{tooling.InsertBody}, fixed: tooling.Cradle, covered: []string{tooling.Cradle}, proof: "casting",
			opens: "Lift one edge of the casting and peel it out of the silicone; take the insert out of the cradle first where it grips."},
	},
	tooling.BlockFamily: {
		{name: "upper block", printed: []string{tooling.PouringBox, tooling.PartingBoard, tooling.Master}, pours: tooling.UpperBlock, fixed: tooling.PouringBox, proof: "parting board", byHand: true,
			closes: "Stand the pouring box on its wide end on a flat plate, put the parting board into it, domes up, and each master into its hollow in the board. Close the seams between board, box and master with wax.",
			into:   "one corner of the pouring box, up to the marks in its walls",
			opens:  "Turn all of it over and take the parting board out straight; master and upper block stay in the box."},
		{name: "lower block", printed: []string{tooling.PouringBox, tooling.Master}, soft: []string{tooling.UpperBlock}, pours: tooling.LowerBlock, fixed: tooling.PouringBox, proof: "master", byHand: true,
			closes: "The pouring box stands with its wide end up, master and upper block still in it. Scrape wax off the silicone; close the seam along the walls.",
			into:   "one corner of the pouring box, on the cured block, up to the marks at this end",
			opens:  "Push both blocks out at the box's wide end, peel the upper one off, then take each master out of the lower one."},
		{name: "casting", printed: []string{tooling.PouringBox}, soft: []string{tooling.UpperBlock, tooling.LowerBlock}, fixed: tooling.PouringBox, proof: "casting", byHand: true,
			closes: "Put the blocks together, domes in their dimples, and into the pouring box from its wide end, sprue up. Clamp it between two flat plates with a hole over the sprue: tight enough to close the line, no tighter.",
			opens:  "Push the blocks out of the box, peel the upper one off, then lift each casting by one edge out of the lower one."},
	},
	tooling.CutBlockFamily: {
		{name: "block", printed: []string{tooling.PouringBox, tooling.Master, tooling.BasePlate}, pours: tooling.SiliconeBlock, fixed: tooling.PouringBox, proof: "master", byHand: true,
			closes: "Stand the pouring box on its wide end on a flat plate, the base plate in it, each master on the plate. Close the seams of the plate with wax.",
			into:   "one corner of the pouring box, up to the marks in its walls",
			opens:  "Push the block out of the box, take a loose base plate off, and cut the block open with a fresh blade along the line in the drawing, a little deeper with each stroke. Leave the far end uncut; spread it and take each master out to the front."},
		{name: "casting", printed: []string{tooling.PouringBox}, soft: []string{tooling.SiliconeBlock}, fixed: tooling.PouringBox, proof: "casting", byHand: true,
			closes: "Press the cut together and put the block back into the pouring box from its wide end, sprue up. Where the sprue does not lie in the cut, clamp it between two flat plates with a hole over the sprue.",
			opens:  "Push the block out of the box, spread each cut as you did for its master, and take the casting out to the front."},
	},
	tooling.SkinFamily: {
		{name: "upper skin", printed: []string{tooling.UpperShell, tooling.MasterPlate, tooling.LowerShell}, pours: tooling.UpperSkin, ports: tooling.UpperShell, longer: "plate between the flanges",
			turned: "Leave it bolted. Turn it over, so that it stands on the legs of the upper shell: the lower skin is poured from this side."},
		{name: "lower skin", printed: []string{tooling.UpperShell, tooling.MasterPlate, tooling.LowerShell}, pours: tooling.LowerSkin, ports: tooling.LowerShell, closed: true,
			fixed: tooling.MasterPlate, proof: tooling.MasterPlate,
			opens: "Take the shells off the skins, then peel each skin off the plate from one edge, slowly round. Put the skins back into their shells with every peg and plug seated: there they keep their shape."},
		{name: "casting", printed: []string{tooling.UpperShell, tooling.LowerShell}, soft: []string{tooling.UpperSkin, tooling.LowerSkin}, fixed: tooling.LowerShell,
			covered: []string{tooling.UpperShell, tooling.LowerShell}, proof: "casting",
			opens: "Peel the upper skin off the casting from one edge, lift casting and lower skin out of the lower shell together, and peel that skin off too. Put both back into their shells."},
	},
	tooling.TrayFamily: {
		{name: "casting", printed: []string{tooling.Tray}, fixed: tooling.Tray, brim: true, proof: "leave",
			opens: "Free the border all round with a blunt edge, then lift the casting straight up, by the tabs where it has a carrier; a soft one is peeled up from one side."},
	},
	tooling.SideSplitFamily: {
		{name: "casting", fixed: tooling.WholeHalf, proof: "leaves",
			opens: "Take the casting off the whole half last, once both side pieces are gone; stretch a soft one over what holds it."},
	},
}

// maker collects steps.
type maker struct {
	rep   *job.Report
	m     *material.Material // what the stage pours
	bench Bench
	stage stage
	plan  *Plan

	sealed map[string]bool // pieces that an earlier stage sealed
	proven map[string]bool // the report's lines on opening that an earlier stage has said
}

// Make plans the work. Errors: ErrNoMould; a material that is not the report's; those of
// material.PlanMixes, where the mix cannot be poured in time or does not fit the cup.
func Make(rep *job.Report, m *material.Material, b Bench) (*Plan, error) {
	if rep == nil || rep.Refused || rep.Mould == nil || rep.Shot == nil {
		return nil, ErrNoMould
	}
	if m.ID != rep.Shot.MaterialID {
		return nil, fmt.Errorf("the report is of %q, and the material is %q; run the job again, or give that material", rep.Shot.MaterialID, m.ID)
	}
	b = b.filled(rep.Bench)
	if rep.Fill != nil && rep.Fill.Flow != nil {
		b.PourS = max(b.PourS, rep.Fill.Flow.SecondsS)
	}
	if err := b.check(); err != nil {
		return nil, err
	}
	k := &maker{rep: rep, bench: b, sealed: map[string]bool{}, proven: map[string]bool{}, plan: &Plan{Job: rep.Part.Name, Material: m.ID, Family: rep.Mould.Family, Shots: b.Shots,
		NeverTouch: neverTouch(rep), Warnings: append([]string{}, rep.Shot.Warnings...)}}
	stages, known := families[rep.Mould.Family]
	if !known {
		stages = []stage{{name: "casting"}}
	}
	k.prepare()
	for _, st := range stages {
		k.stage, k.m = st, m
		if st.silicone() {
			if b.Silicone == nil {
				return nil, fmt.Errorf("a mould of the family %q needs the silicone that its soft pieces are poured of", rep.Mould.Family)
			}
			k.m = b.Silicone
		}
		if err := k.pourStage(); err != nil {
			return nil, fmt.Errorf("%s: %w", st.name, err)
		}
	}
	k.m = m
	k.finish()
	if err := k.ballast(); err != nil {
		return nil, fmt.Errorf("ballast: %w", err)
	}
	k.record()
	k.plan.Cautions = m.Cautions()
	return k.plan, nil
}

// pourStage is everything from bare faces to the open mould.
func (k *maker) pourStage() error {
	if !k.stage.closed {
		k.coats()
	}
	k.setUp()
	k.hang()
	if err := k.mix(); err != nil {
		return err
	}
	k.pressure()
	if err := k.cure(); err != nil {
		return err
	}
	if k.stage.turned != "" {
		k.add(Step{ID: "turn", Phase: Open, Title: "Turn the closed mould over", Words: []string{k.stage.turned}})
		return nil
	}
	k.open()
	return nil
}

// add appends a step; the id gets the stage's name unless it is the casting.
func (k *maker) add(s Step) {
	s.Stage = k.stage.name
	if s.Stage == "" {
		s.Stage = "casting"
	}
	if !k.stage.casting() {
		s.ID += "-" + slug(k.stage.name)
		s.Title += " (" + k.stage.name + ")"
		s.Once = k.stage.silicone()
	}
	if s.Once && k.bench.Again {
		return
	}
	k.plan.Steps = append(k.plan.Steps, s)
}

// pieces are the report's pieces that the stage touches, printed or soft.
func (k *maker) pieces(soft bool) []job.PieceReport {
	var out []job.PieceReport
	for _, p := range k.rep.Mould.Pieces {
		names := k.stage.printed
		if soft {
			names = k.stage.soft
		}
		if p.Poured == soft && (k.stage.printed == nil || slices.Contains(names, p.Name)) {
			out = append(out, p)
		}
	}
	return out
}

// features are those of a kind, by name.
func (k *maker) features(kinds ...string) []job.FeatureReport {
	var out []job.FeatureReport
	for _, f := range k.rep.Mould.Features {
		if slices.Contains(kinds, f.Kind) {
			out = append(out, f)
		}
	}
	return out
}

// forSilicone ends the kinds of features that only the silicone's pour uses.
const forSilicone = " for the silicone"

// channels are the features of a kind through which the stage's liquid goes in or air goes out.
func (k *maker) channels(kinds ...string) []job.FeatureReport {
	if k.stage.silicone() {
		for i := range kinds {
			kinds[i] += forSilicone
		}
	}
	all := k.features(kinds...)
	if k.stage.ports == "" {
		return all
	}
	return slices.DeleteFunc(all, func(f job.FeatureReport) bool { return f.Piece != k.stage.ports })
}

// touches says whether a feature lies on a piece: features name a piece, the first word of its name, or
// "both".
func touches(f job.FeatureReport, piece string) bool {
	return f.Piece == "both" || f.Piece == piece || strings.HasPrefix(piece, f.Piece+" ")
}

func slug(name string) string { return strings.ReplaceAll(strings.ToLower(name), " ", "-") }

// listed joins names as a sentence does.
func listed(names []string) string {
	switch n := len(names); n {
	case 0:
		return ""
	case 1:
		return names[0]
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
}

func namesOf(fs []job.FeatureReport) []string {
	out := make([]string, len(fs))
	for i, f := range fs {
		out[i] = f.Name
	}
	return out
}

func neverTouch(rep *job.Report) []string {
	if rep.Part.ShowCount == 0 {
		return []string{}
	}
	out := []string{fmt.Sprintf("The show faces of the casting (%.1f cm²): no blade, no sanding, no pliers, no bare fingers while they are soft.", rep.Part.ShowMM2/100),
		"The cavity faces that make them: no tool, no abrasive, no solvent that is not tested on a scrap."}
	if rep.Mould.LineOnShowMM > 0 {
		out = append(out, fmt.Sprintf("%.1f mm of the parting line run over show faces: trim there under a lens, or leave it.", rep.Mould.LineOnShowMM))
	}
	return out
}
