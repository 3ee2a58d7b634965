package material

import "slices"

// Surface is what a material touches while it cures.
type Surface string

// The surfaces that the rules know of.
const (
	PrintedResin    Surface = "printed-resin"    // photopolymer, washed and cured
	PrintedFilament Surface = "printed-filament" // melted plastic
	OnPlatinum      Surface = "platinum-silicone"
	OnTin           Surface = "tin-silicone"
	OnPolyurethane  Surface = "polyurethane"
	OnEpoxy         Surface = "epoxy"
	OnPolyester     Surface = "polyester"
	Clay            Surface = "clay" // modelling clay, which may hold sulphur
	Wood            Surface = "wood"
	Metal           Surface = "metal"
)

// Surfaces lists every surface.
var Surfaces = []Surface{PrintedResin, PrintedFilament, OnPlatinum, OnTin, OnPolyurethane, OnEpoxy, OnPolyester, Clay, Wood, Metal}

// Effect is what happens between a material and a surface.
type Effect string

// Effects, from none to worst.
const (
	PartsFreely Effect = "parts freely" // no release needed, though it lengthens the mould's life
	Sticks      Effect = "sticks"       // release needed
	Bonds       Effect = "bonds"        // release decides whether the mould can be opened at all
	Inhibits    Effect = "inhibits"     // the surface stops the cure
)

// Rule says what happens between a material and a surface, why, and what to do.
type Rule struct {
	Family  Family  `json:"family"`
	Surface Surface `json:"surface"`
	Effect  Effect  `json:"effect"`
	Why     string  `json:"why"`
	Do      string  `json:"do"`
	Seal    bool    `json:"seal"`    // a sealing coat is needed
	Release bool    `json:"release"` // release is needed on every face that is touched
	Source  string  `json:"source"`
}

const ruleSource = "common practice, no source"

// touch is a row of the table: families and surfaces that behave alike.
type touch struct {
	families []Family
	surfaces []Surface
	effect   Effect
	why, do  string
}

var (
	resins    = []Family{Polyurethane, Epoxy, Polyester}
	plastics  = []Surface{PrintedResin, PrintedFilament, OnPolyurethane, OnEpoxy, OnPolyester}
	silicones = []Surface{OnPlatinum, OnTin}
)

// touches are looked through in order; the first that fits holds.
var touches = []touch{
	{[]Family{PlatinumSilicone}, []Surface{PrintedResin}, Inhibits, "uncured photopolymer at the surface of a print stops a platinum catalyst",
		"wash, dry and cure the print fully (warm it too if its maker says so), seal it, let the seal cure, and test on a hidden spot first"},
	{[]Family{PlatinumSilicone}, []Surface{OnTin}, Inhibits, "the tin left in a tin-cured silicone stops a platinum catalyst",
		"use a tin silicone, or a barrier coat made for this, and test first"},
	{[]Family{PlatinumSilicone}, []Surface{Clay}, Inhibits, "sulphur in modelling clay stops a platinum catalyst",
		"use clay that is sold as free of sulphur, or seal it, and test first"},
	{[]Family{PlatinumSilicone}, []Surface{OnPlatinum}, Bonds, "silicone bonds to silicone of its own kind",
		"two coats of release on every face; test on a scrap"},
	{[]Family{TinSilicone}, silicones, Bonds, "silicone bonds to silicone",
		"two coats of release on every face; test on a scrap"},
	{[]Family{PlatinumSilicone}, []Surface{OnEpoxy}, Inhibits, "amine left in an epoxy stops a platinum catalyst",
		"cure the epoxy fully and warm, wash off amine blush, seal it, and test first"},
	{[]Family{PlatinumSilicone}, []Surface{Wood}, Inhibits, "some woods and their glues hold sulphur and amines that stop a platinum catalyst, and pores let silicone grip",
		"seal the wood until it shines, release it, and test first"},
	{[]Family{PlatinumSilicone, TinSilicone}, []Surface{PrintedFilament, OnPolyurethane, OnPolyester, OnEpoxy, Metal, PrintedResin, Clay, Wood}, Sticks, "silicone grips rough and porous faces",
		"seal what is porous; one coat of release"},
	{[]Family{Polyurethane, Epoxy, Polyester}, silicones, PartsFreely, "resins do not bond to cured silicone; yet each casting takes oil out of it, until it begins to stick",
		"a light coat of release, or rest the mould, so that it lasts"},
	{[]Family{Polyurethane}, []Surface{Wood}, Bonds, "polyurethane glues wood, and the water in wood makes it foam",
		"dry and seal the wood; two coats of release on every face"},
	{[]Family{Polyurethane}, []Surface{Metal}, Bonds, "polyurethane is a glue for metal",
		"release on every face"},
	{resins, plastics, Bonds, "resin bonds to plastic and to resin, printed or cast",
		"seal layer lines and pores; release on every face that resin touches, and let each coat dry"},
	{resins, []Surface{Metal, Wood, Clay}, Bonds, "resin is a glue",
		"seal what is porous; release on every face"},
}

// Touch is what happens when a material cures against a surface. Other families and unknown surfaces
// are taken as bonding, the side on which a mistake costs no mould.
func (m *Material) Touch(s Surface) Rule {
	for _, t := range touches {
		if slices.Contains(t.families, m.Family) && slices.Contains(t.surfaces, s) {
			return t.rule(m.Family, s)
		}
	}
	return touch{effect: Bonds, why: "nothing is known of these two", do: "release on every face, and test on a scrap"}.rule(m.Family, s)
}

func (t touch) rule(f Family, s Surface) Rule {
	return Rule{Family: f, Surface: s, Effect: t.effect, Why: t.why, Do: t.do, Source: ruleSource,
		Release: t.effect != PartsFreely, Seal: t.effect == Inhibits || t.effect != PartsFreely && slices.Contains([]Surface{PrintedResin, PrintedFilament, Wood, Clay}, s)}
}

// Moisture is the rule for water; ok is false for materials that do not mind it.
func (m *Material) Moisture() (why, do string, ok bool) {
	switch m.Family {
	case Polyurethane:
		return "isocyanate and water make carbon dioxide: bubbles and foam", "dry pigments, fillers and moulds; no wet cups or wooden sticks; close the bottles at once, best under dry gas", true
	case Epoxy:
		return "an amine hardener takes up water and carbon dioxide from damp air: a greasy, cloudy surface (blush)", "keep below about 60 % humidity; close the bottles; wash blush off with water", true
	case PlatinumSilicone, TinSilicone, Polyester, Other:
	}
	return "", "", false
}
