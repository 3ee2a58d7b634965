package record

// DefectKind is a fault of a casting that can be recorded.
type DefectKind struct {
	Code  string `json:"code"`
	Words string `json:"words"`
}

// Defects lists the codes that a casting's defects use.
var Defects = []DefectKind{
	{"void", "a hollow where resin should be, mostly at a high place"},
	{"pinholes", "many small bubbles at the surface"},
	{"foam", "the casting is full of bubbles"},
	{"short", "not filled to the end"},
	{"tacky", "the surface stays sticky"},
	{"soft", "soft or rubbery all through"},
	{"streaks", "streaks or patches of another colour or hardness"},
	{"stuck", "stuck to the mould"},
	{"torn", "torn at opening"},
	{"flash", "thick flash along the parting line"},
	{"step", "a step at the parting line: the pieces were shifted"},
	{"lines", "print lines or scratches of the mould show"},
	{"size", "wrong size"},
	{"warped", "warped or bent"},
	{"cracked", "cracked or scorched"},
	{"colour", "wrong colour"},
}

func defectCodes() []string {
	out := make([]string, len(Defects))
	for i, d := range Defects {
		out[i] = d.Code
	}
	return out
}

// cause is one row of what is known: a cause, the defects it makes, and what speaks for it. All rows
// are common practice, no source, but for those whose why names a law.
type cause struct {
	id      string
	defects []string
	words   string
	why     string
	do      string
	// base is how often this is the cause when nothing else is known, as a rank from 1 to 3.
	base float64
	// signs name signals and how much each counts.
	signs []sign
}

type sign struct {
	signal string
	weight float64
}

var causes = []cause{
	{"trapped-air", []string{"void"}, "air was caught in a high place of the cavity", "air that the rising resin cuts off from every vent has no way out; by Boyle's law pressure makes the pocket smaller, never gone", "tilt the mould as planned, add a vent at the pocket's top, or pour more slowly", 3,
		[]sign{{"trapped", 3}, {"tilt-off", 2}, {"no-pressure", 1}, {"short-weight", 1}, {"factor-cavity", 1.5}}},
	{"no-degas", []string{"pinholes", "foam"}, "air stirred into the mix stayed in it", "bubbles rise too slowly in a thick mix (Stokes' law: speed falls with viscosity) to leave before it gels", "degas, pour in a thin stream, or cure under pressure", 2,
		[]sign{{"no-pressure", 3}, {"late", 1}, {"cold", 1}}},
	{"moisture", []string{"foam", "pinholes"}, "water got into an isocyanate", "isocyanate and water make carbon dioxide", "dry pigments, fillers and moulds, close bottles under dry gas, use fresh lots", 2,
		[]sign{{"damp", 3}, {"old-lot", 2}, {"open-long", 2}, {"factor-lot", 2}}},
	{"late-pour", []string{"short", "void", "streaks"}, "the mix had begun to gel when it was poured", "viscosity rises through the whole pot life, so the last of it no longer runs into thin places", "mix less at a time, pour sooner, or work cooler", 2,
		[]sign{{"late", 3}, {"hot", 1.5}}},
	{"too-little", []string{"short"}, "too little was mixed or poured", "the cavity, its runners and the cup's residue were not covered", "set the overfill margin and the cup's residue from what you measure", 2,
		[]sign{{"short-weight", 2}, {"late", -1}}},
	{"leak", []string{"short", "flash"}, "resin leaked out along the parting line", "the halves did not close, or the clamping gave way under the head of resin", "clean the faces, draw the bolts evenly, look for a warped half", 2,
		[]sign{{"worn", 1.5}, {"short-weight", 1}, {"factor-mould", 2}}},
	{"ratio", []string{"tacky", "soft", "streaks"}, "the mixing ratio was off", "what finds no partner to react with stays liquid", "weigh on a finer scale, tare each cup, shake components that settle", 3,
		[]sign{{"ratio-off", 3}, {"factor-operator", 1}}},
	{"unmixed", []string{"streaks", "tacky"}, "the components were not mixed through", "resin at the wall and floor of the cup is not reached by stirring alone", "scrape sides and floor, pour into a second cup and mix again", 2,
		[]sign{{"ratio-off", -0.5}, {"factor-operator", 2}}},
	{"old", []string{"tacky", "soft", "foam", "colour"}, "a component is too old", "components take up water, settle or crystallise in the bottle", "use a fresh lot; make a test cup of the old one", 1,
		[]sign{{"old-lot", 3}, {"open-long", 2}, {"factor-lot", 2}}},
	{"inhibited", []string{"tacky"}, "the surface it touched stopped its cure", "sulphur, tin, amines and resin left uncured on a print stop a platinum cure; moisture and amines dull the surface of others", "wash and cure prints longer, seal them, test on a hidden spot", 2,
		[]sign{{"release-skipped", 1}, {"platinum", 2}, {"ratio-off", -1}, {"factor-mould", 2}}},
	{"cold-cure", []string{"soft", "tacky"}, "it was too cold to cure in the time given", "reaction speed falls with temperature (Arrhenius)", "warm the room, the mould and the components, or wait longer", 2,
		[]sign{{"cold", 3}, {"early", 2}}},
	{"early-demould", []string{"torn", "warped", "soft", "size"}, "it was taken out too early", "half-cured castings have little strength and creep", "wait the demould time, longer when it is cold", 2,
		[]sign{{"early", 3}, {"cold", 1}}},
	{"no-release", []string{"stuck", "torn"}, "release was missing somewhere", "resin bonds to bare printed plastic, and to its own kind", "coat every face, let it dry, look along it against the light", 3,
		[]sign{{"release-skipped", 4}, {"factor-operator", 1}}},
	{"undercut", []string{"stuck", "torn", "warped"}, "the part is held by the mould", "an undercut or too little draft must be stretched over at opening", "more draft, or a mould with a flexible piece", 2,
		[]sign{{"undercut", 3}, {"low-draft", 2}}},
	{"worn-mould", []string{"stuck", "flash", "lines", "torn", "step"}, "the mould is worn", "each shot takes a little of the surface and of the edges", "look it over, mend its edges, or make the next one", 1,
		[]sign{{"worn", 3}, {"factor-mould", 2}}},
	{"loose-halves", []string{"step", "flash"}, "the pieces were not seated", "a grain of flash in a key or on a face holds them apart", "clean keys and faces, close evenly, press until it seats", 2,
		[]sign{{"over-weight", 1.5}, {"steep", 1}, {"factor-operator", 1}}},
	{"line-there", []string{"flash", "step", "lines"}, "the parting line runs over a face that shows", "where pieces meet there is always a line", "another opening direction, or accept and trim it", 1,
		[]sign{{"line-on-show", 2}}},
	{"surface", []string{"lines"}, "the printed surface was not finished enough", "a casting copies layer lines", "sand to 400 grit, coat, sand again", 2,
		[]sign{{"worn", 1}}},
	{"exotherm", []string{"cracked", "warped", "size", "foam"}, "it grew too hot", "heat of reaction leaves a large or thick mass slowly", "smaller mixes, pour in layers, a slower hardener", 2,
		[]sign{{"hot", 2}, {"big-mix", 2}}},
	{"warm-growth", []string{"size"}, "it was cured at another temperature than planned", "mould and casting grow with temperature: ΔL = α·L·ΔT", "cure near the temperature the mould was sized for, or correct the scale", 1,
		[]sign{{"hot", 1}, {"cold", 1}}},
	{"pigment", []string{"colour"}, "the pigment was weighed or stirred unevenly", "a tenth more pigment can be seen", "weigh pigment on a finer scale, colour one component for the whole batch", 2,
		[]sign{{"factor-operator", 1.5}, {"factor-lot", 1.5}}},
}
