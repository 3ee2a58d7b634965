package choice

import "context"

// family is one way to mould. Families are data: what Compare does is the same for each.
type family struct {
	key, name string
	needs     string
	arrange   func(context.Context, *stance, *Options) (*arrangement, error)
	// printed and silicone are the pieces, each with its volume.
	printed, silicone []piece
	pours             int // one-time silicone pours
	stages            []string
	shots             int     // castings from one mould before it wears out; typical
	shotMin           float64 // hands on a shot, without trimming; typical
	scrapPct          float64 // typical
	errorPct          float64 // of the volumes, as estimated
	carrier           bool    // can hold a carrier by its tabs at the parting line
}

// piece is a printed or poured piece; of says its volume in mL.
type piece struct {
	name string
	of   func(*shapeOf) float64
}

// families lists the ways, the simplest first: that is the order in which a maker would rather have
// them, and it decides between equals. Shots, hands-on times and scrap are typical (common practice,
// no source).
var families = []family{
	{
		key: "open-tray", name: "open-face tray",
		needs:   "one flat face that need not be finished, and nothing else that looks up",
		arrange: arrangeTray,
		printed: []piece{{"tray", trayML}},
		stages:  []string{"print the tray", "coat it with release agent", "fill it to the brim and level it", "lift the casting out"},
		shots:   50, shotMin: 6, scrapPct: 5, errorPct: 20, carrier: true,
	},
	{
		key: "two-rigid-halves", name: "two rigid halves",
		needs:   "no undercut along the opening direction, or a soft casting with room to give way",
		arrange: arrangeTwoRigid,
		printed: []piece{{"upper half", halfBlockML}, {"lower half", halfBlockML}},
		stages:  []string{"print two halves", "coat both with release agent", "close, pour, cure", "open and take the casting out"},
		shots:   50, shotMin: 10, scrapPct: 5, errorPct: 20, carrier: true,
	},
	{
		key: "side-split", name: "rigid halves, one split again",
		needs:   "undercuts that lie open to one side; the split leaves a flash line on what it crosses",
		arrange: arrangeSideSplit,
		printed: []piece{{"whole half", halfBlockML}, {"side piece", sidePieceML}, {"other side piece", sidePieceML}},
		stages:  []string{"print three pieces", "coat all with release agent", "close, pour, cure", "draw the side pieces", "take the casting off the whole half"},
		shots:   50, shotMin: 13, scrapPct: 6, errorPct: 25,
	},
	{
		key: "cradle-insert", name: "cradle, silicone insert and casting cap",
		needs:    "undercuts that silicone can stretch over, or a soft casting",
		arrange:  arrangeInsert,
		printed:  []piece{{"cradle", cradleML}, {"pattern cap", patternCapML}, {"casting cap", castingCapML}},
		silicone: []piece{{"insert", insertML}}, pours: 1,
		stages: []string{"print cradle, pattern cap and casting cap", "pour the insert round the pattern cap", "take the pattern cap out of the cured insert",
			"pour the casting under the casting cap", "lift cap, casting and insert out of the cradle", "peel off the insert, take the casting off the core"},
		shots: 25, shotMin: 12, scrapPct: 5, errorPct: 25,
	},
	{
		key: "cut-block", name: "one-piece silicone block, cut open",
		needs:    "a place for a cut that need not look clean",
		arrange:  arrangeCutBlock,
		printed:  []piece{{"pattern", patternML}, {"pouring box", boxML}},
		silicone: []piece{{"block", blockML}}, pours: 1,
		stages: []string{"print the pattern and a box", "pour the block round the hung pattern", "cut it open and free the pattern",
			"band it shut, pour, cure", "spread it and take the casting out"},
		shots: 15, shotMin: 15, scrapPct: 12, errorPct: 15,
	},
	{
		key: "two-part-block", name: "two-part silicone block",
		needs:    "undercuts that silicone can stretch over",
		arrange:  arrangeBlock,
		printed:  []piece{{"pattern", patternML}, {"pouring box", boxML}, {"parting board", boardML}},
		silicone: []piece{{"upper block", halfSiliconeML}, {"lower block", halfSiliconeML}}, pours: 2,
		stages: []string{"print pattern, board and box", "pour the first half over the board", "turn it, take the board out, coat, pour the second half",
			"close between boards, pour, cure", "peel one half off, then the other"},
		shots: 25, shotMin: 14, scrapPct: 8, errorPct: 15,
	},
	{
		key: "skin-shell", name: "silicone skin in a rigid mother mould",
		needs:    "undercuts that a thin skin can stretch over",
		arrange:  arrangeSkin,
		printed:  []piece{{"pattern", patternML}, {"shell half", shellML}, {"other shell half", shellML}},
		silicone: []piece{{"upper skin", halfSkinML}, {"lower skin", halfSkinML}}, pours: 2,
		stages: []string{"print the pattern and two shell halves", "pour the skin between pattern and shell, one half after the other",
			"free the pattern", "close shell and skin, pour, cure", "take the shell off, peel the skin off"},
		shots: 25, shotMin: 15, scrapPct: 6, errorPct: 25,
	},
}
