package material

// Family is the chemistry of a material.
type Family string

// The families that steps and compatibility know of; Other is for the rest.
const (
	Polyurethane     Family = "polyurethane"
	Epoxy            Family = "epoxy"
	PlatinumSilicone Family = "platinum-silicone"
	TinSilicone      Family = "tin-silicone"
	Polyester        Family = "polyester"
	Other            Family = "other"
)

// Families lists every family a file may name.
var Families = []Family{Polyurethane, Epoxy, PlatinumSilicone, TinSilicone, Polyester, Other}

// Hazard names a kind of danger that a component brings.
type Hazard string

// cautions is the text shown for each hazard. Each one defers to the product's safety data sheet:
// the tool knows a kind of chemistry, never the product.
var cautions = []struct {
	Hazard Hazard
	Text   string
}{
	{"isocyanate", "Isocyanate: can cause asthma and skin allergy; one strong exposure may be enough. Ventilate, wear gloves and eye protection, keep it off skin, never heat or spray it without the protection its safety data sheet asks for."},
	{"amine", "Amine hardener: burns skin and eyes and can cause allergy. Gloves and eye protection, as its safety data sheet says."},
	{"epoxy-resin", "Epoxy resin: a skin sensitiser. Gloves; do not sand uncured castings; see its safety data sheet."},
	{"tin-catalyst", "Organotin catalyst: harmful; keep off skin. A tin-cured mould also stops a platinum silicone from curing. See its safety data sheet."},
	{"peroxide", "Organic peroxide: a strong oxidiser that burns eyes and can ignite. Never mix it directly with an accelerator. See its safety data sheet."},
	{"styrene", "Styrene: flammable vapour. Ventilate, no flames, respirator as its safety data sheet says."},
	{"exotherm", "Heats up as it cures; a large mass in the cup may smoke or crack. Keep to the batch size that its data sheet allows."},
	{"inhibition", "Platinum cure is stopped by sulphur, tin, amines and some printed resins. Test on a hidden spot of each surface it will touch."},
}

// Hazards lists the hazards a file may name, in the order they are shown.
func Hazards() []Hazard {
	out := make([]Hazard, len(cautions))
	for i, c := range cautions {
		out[i] = c.Hazard
	}
	return out
}

// Cautions gives the text of each of the material's hazards, and ends by naming the safety data
// sheet as what decides.
func (m *Material) Cautions() []string {
	var out []string
	for _, c := range cautions {
		for _, h := range m.Hazards {
			if h == c.Hazard {
				out = append(out, c.Text)
				break
			}
		}
	}
	return append(out, "The safety data sheet of the product you hold decides; these lines do not replace it.")
}
