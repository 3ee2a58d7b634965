package steps

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"mouldwright/internal/material"
	"mouldwright/internal/record"
	"mouldwright/internal/tooling"
)

// Times for prints of photopolymer, where the resin's maker says nothing else (common practice, no source).
const (
	washS    = 180
	dryS     = 1800
	uvS      = 1800
	coatDryS = 900
	mistDryS = 300
)

// grades of abrasive paper, in order, of which a plan takes those up to Bench.FinestGrit: 400 for a satin
// surface (common practice, no source).
var grades = []int{120, 180, 240, 320, 400, 600, 800, 1000, 1200, 1500, 2000}

const defaultGrit = 400

// prepare is the work on the printed pieces before the first shot.
func (k *maker) prepare() {
	var names []string
	for _, p := range k.rep.Mould.Pieces {
		if !p.Poured {
			names = append(names, p.Name)
		}
	}
	all := listed(names)
	once := func(s Step) { s.Phase, s.Once, s.Source = Prepare, true, practice; k.add(s) }
	once(Step{ID: "supports", Title: "Take the supports off", Words: []string{"Pieces: " + all + ".", "Cut supports flush; leave cavity faces alone. Check that keys go into their pockets and bolts through their holes."}})
	if k.bench.Printed == material.PrintedResin {
		once(Step{ID: "wash", Title: "Wash and dry", Words: []string{"Two baths of the cleaner that the print resin's maker names, the second clean; then let it leave the surface."},
			Timers: []Timer{{Name: "each bath", S: washS}, {Name: "dry", S: dryS}}, Cautions: []string{"Uncured print resin is a skin sensitiser: gloves. Solvent baths burn: no flames, ventilate."}})
		once(Step{ID: "post-cure", Title: "Cure the prints fully", Words: []string{"Turn them over half-way, so that every cavity face gets light. The surface must be dry and hard, without smell."},
			Timers: []Timer{{Name: "light", S: uvS}}, Why: "what stays uncured at the surface sticks to resin, and stops a platinum silicone"})
	}
	var words []string
	for _, g := range grades {
		if g <= k.bench.FinestGrit {
			words = append(words, fmt.Sprint(g))
		}
	}
	once(Step{ID: "sand", Title: "Sand the cavity faces", Words: []string{"Grades " + listed(words) + ", each across the marks of the one before; wet from 320. Stay off the parting faces and the shut-off edges.", "Fill what is left of layer lines, and sand again from 240."},
		Cautions: []string{"Dust of prints: mask; wet sanding keeps it down."}, Why: "the casting copies every scratch"})
	if k.bench.Blast {
		once(Step{ID: "blast", Title: "Blast the cavity faces", Words: []string{"Glass beads of 70 to 110 µm at 200 to 300 kPa, from 15 to 20 cm, square to the face and always moving, until all of it is evenly matt.",
			"Tape off the parting faces, the shut-off edges, keys and pockets before. Blow all beads out afterwards, and wipe with a damp cloth.", "Show faces: on a scrap first; blasting rounds fine detail."},
			Cautions: []string{"In a closed cabinet, with gloves and mask: dust and beads hurt eyes and lungs. Never sand."}, Why: "the casting takes the mould's gloss: a matt face hides flow lines"})
	}
	if k.bench.GrainCoats > 0 {
		once(Step{ID: "grain", Title: "Mist coats for the grain", Words: []string{fmt.Sprintf("%d mist coats from well away, so that drops land nearly dry; look at the grain between coats. Not on the parting faces.", k.bench.GrainCoats)},
			Timers: []Timer{{Name: "between coats", S: mistDryS}}})
	}
	once(Step{ID: "fit", Title: "Close the mould dry", Words: []string{"The pieces must seat without force and without a gap; hold them against light. Then take them apart again: they must part freely."}, Hard: true,
		Why: "a gap found now costs minutes, found later a shot"})
}

// coats seals, and puts release on every face that touches what is poured, piece by piece.
func (k *maker) coats() {
	rule := k.m.Touch(k.bench.Printed)
	if rule.Seal {
		for _, p := range k.pieces(false) {
			if k.sealed[p.Name] {
				continue
			}
			k.sealed[p.Name] = true
			s := Step{ID: "seal-" + slug(p.Name), Phase: Seal, Piece: p.Name, Once: true, Hard: rule.Effect == material.Inhibits, Title: "Seal the " + p.Name,
				Words: []string{"Two thin coats of sealer on: " + k.faces(p.Name) + ".", "No runs in corners; keep keys and their pockets thin."}, Timers: []Timer{{Name: "each coat dries", S: coatDryS}},
				Why: rule.Why, Source: rule.Source}
			if rule.Effect == material.Inhibits {
				s.Title += ", and test that it does not stop the cure"
				s.Words = append(s.Words, sentence(rule.Do))
			}
			k.add(s)
		}
	}
	if rule.Release {
		for _, p := range k.pieces(false) {
			k.release(p.Name, rule)
		}
	}
	if soft := k.m.Touch(surfaceOf(k.bench.Silicone)); len(k.stage.soft) > 0 {
		for _, p := range k.pieces(true) {
			k.release(p.Name, soft)
		}
	}
}

// release is the hard stop of one piece.
func (k *maker) release(piece string, rule material.Rule) {
	do := " " + sentence(rule.Do)
	if rule.Seal {
		do = " Let each coat dry." // sealing was said before
	}
	k.add(Step{ID: record.ReleaseStep + "-" + slug(piece), Phase: Release, Piece: piece, Hard: rule.Release, Title: "Release on the " + piece,
		Words:  []string{"On every face that what is poured touches: " + k.faces(piece) + ".", "Thin and even, out of the corners; look along each face against the light." + do},
		Timers: []Timer{{Name: "dries", S: coatDryS}}, Ask: &Ask{Words: "how many", Unit: "coats"}, Why: rule.Why, Source: rule.Source})
}

// siliconeTouches are the pieces round which a block of silicone is poured, and where they touch it.
var siliconeTouches = map[string]string{tooling.PouringBox: "the inside of its walls", tooling.PartingBoard: "its upper face and its domes",
	tooling.Master: "all of it", tooling.BasePlate: "its inner face", tooling.MasterPlate: "the master on both sides, the board round it, the stalks of sprue and vents, and its keys"}

// shapedBy are the pieces that stand into the cavity, and what they do it with.
var shapedBy = map[string]string{tooling.PatternCap: "the master", tooling.CastingCap: "the core"}

// faces names what is poured against on a piece: the cavity, the parting face, and each channel in it.
func (k *maker) faces(piece string) string {
	switch {
	case slices.Contains(k.stage.covered, piece):
		return "the rim around the " + covering(k.stage.soft) + ", and its keys"
	case siliconeTouches[piece] != "":
		return siliconeTouches[piece]
	case slices.Contains(k.stage.soft, piece):
		return "the cavity, and the land around it"
	}
	out := []string{"the cavity", "the parting face"}
	if shaped := shapedBy[piece]; shaped != "" {
		out[0] = shaped
	}
	for _, f := range k.rep.Mould.Features {
		kind, silicone := strings.CutSuffix(f.Kind, forSilicone)
		switch kind {
		case "label", "bolt", "cross bolt", "pry slot", "split pry slot", "levelling screw":
			continue
		}
		if touches(f, piece) && (!silicone || k.stage.silicone()) {
			out = append(out, kind+" "+f.Name)
		}
	}
	return listed(out)
}

// covering names what soft pieces are in one word.
func covering(soft []string) string {
	if slices.Contains(soft, tooling.InsertBody) {
		return "insert"
	}
	return "skin"
}

// surfaceOf is a silicone as a surface; nil and others are taken as platinum silicone.
func surfaceOf(m *material.Material) material.Surface {
	if m != nil && m.Family == material.TinSilicone {
		return material.OnTin
	}
	return material.OnPlatinum
}

// sentences makes one of each line.
func sentences(lines string) []string {
	var out []string
	for _, l := range strings.Split(lines, "\n") {
		if l = sentence(l); l != "" {
			out = append(out, l)
		}
	}
	return out
}

// sentence gives words a capital and a full stop.
func sentence(s string) string {
	r := []rune(strings.TrimSpace(s))
	if len(r) == 0 {
		return ""
	}
	r[0] = unicode.ToUpper(r[0])
	if last := r[len(r)-1]; last != '.' && last != ';' {
		r = append(r, '.')
	}
	return string(r)
}
