package cli

import (
	"fmt"
	"io"

	"mouldwright/internal/material"
)

type materialCmd struct {
	List  materialListCmd  `cmd:"" help:"List the materials."`
	Show  materialShowCmd  `cmd:"" help:"Show all that is known of a material."`
	Check materialCheckCmd `cmd:"" help:"Check a material file of your own."`
	Weigh materialWeighCmd `cmd:"" help:"Work out what to weigh for one shot of a given volume."`
	Chain materialChainCmd `cmd:"" help:"Multiply shrinkages up, from the drawing to the casting."`
	Warm  materialWarmCmd  `cmd:"" help:"Work out what a cure at another temperature does to a length."`
	Balls materialBallsCmd `cmd:"" help:"Work out balls and backfill for a hollow."`
}

// libraryFlag adds a maker's own file to the starting entries.
type libraryFlag struct {
	Library string `placeholder:"FILE" help:"A material file of your own, laid over the starting entries."`
}

func (f libraryFlag) open() (*material.Library, error) {
	lib, err := material.Generic()
	if err != nil {
		return nil, &internalError{err}
	}
	if f.Library == "" {
		return lib, nil
	}
	own, err := material.ReadFile(f.Library)
	if err != nil {
		return nil, err
	}
	return lib.Merge(own), nil
}

// find looks a material up in it.
func (f libraryFlag) find(id string) (*material.Material, error) {
	lib, err := f.open()
	if err != nil {
		return nil, err
	}
	return lib.Find(id)
}

type materialListCmd struct{ libraryFlag }

func (c materialListCmd) Run(s *session) error {
	lib, err := c.open()
	if err != nil {
		return err
	}
	all := lib.All()
	err = s.result(map[string]any{"materials": all}, func(w io.Writer) {
		table(w, func(w io.Writer) {
			fmt.Fprintln(w, "ID\tNAME\tDENSITY\tPOT LIFE\tSHRINKAGE\tHARDNESS\tVALUES")
			for i := range all {
				m := &all[i]
				fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", m.ID, m.Name, densityWords(m.MixedDensity()),
					durationWords(m.PotLife), shrinkageWords(m), hardnessWords(m.Hardness), valuesWords(m))
			}
		})
	})
	if err == nil {
		s.hint("mouldwright material show ID")
	}
	return err
}

type materialShowCmd struct {
	libraryFlag
	ID string `arg:"" help:"The material's id, from: material list."`
}

// materialView is a material with what follows from its values.
type materialView struct {
	material.Material
	Density    material.Density `json:"mixed_density"`
	MouldScale float64          `json:"mould_scale"`
	Cautions   []string         `json:"cautions"`
}

func (c materialShowCmd) Run(s *session) error {
	m, err := c.find(c.ID)
	if err != nil {
		return err
	}
	scale, _ := m.MouldScale()
	v := materialView{*m, m.MixedDensity(), scale, m.Cautions()}
	return s.result(v, func(w io.Writer) { printMaterial(w, &v) })
}

func printMaterial(w io.Writer, v *materialView) {
	fmt.Fprintf(w, "%s: %s\n\n", v.ID, v.Name)
	table(w, func(w io.Writer) {
		row := func(name, value string) { fmt.Fprintf(w, "%s\t%s\n", name, value) }
		row("Values", valuesWords(&v.Material))
		if v.Source != "" {
			row("Source", v.Source)
		}
		row("Chemistry", string(v.Family))
		row("Mixing ratio", fmt.Sprintf("by %s, allowed error %s %%", v.RatioBy, number(v.RatioTolerancePct, 2)))
		for i, g := range v.MassParts() {
			c := v.Components[i]
			line := fmt.Sprintf("%s parts", number(c.Parts, 3))
			if c.DensityGPerML > 0 {
				line += fmt.Sprintf(", %s g/mL", number(c.DensityGPerML, 3))
			}
			if c.ViscosityMPaS > 0 {
				line += fmt.Sprintf(", %s mPa·s", number(c.ViscosityMPaS, 1))
			}
			if v.RatioBy == material.ByVolume {
				line += fmt.Sprintf("; by mass %s parts", number(g, 3))
			}
			row("  "+c.Name, line)
		}
		row("Mixed density", densityWords(v.Density))
		row("Viscosity, mixed", orUnknown(v.ViscosityMPaS, "mPa·s"))
		row("Pot life", durationWords(v.PotLife))
		row("Demould after", durationWords(v.Demould))
		row("Linear shrinkage", shrinkageWords(&v.Material))
		row("Mould scale", number(v.MouldScale, 5))
		if v.MaxMixG > 0 {
			row("Mixed at once", "at most "+number(v.MaxMixG, 1)+" g, for its heat")
		}
		if rise, ok := v.PeakRiseK(); ok {
			row("Warms by", "at most "+number(rise, 0)+" K, if no heat leaves it")
		}
		for _, l := range []struct {
			name, unit string
			v          float64
			d          int
		}{{"Least section", "mm", v.LeastMM, 2}, {"Filler, at most", "% of the mix", v.FillerMaxPct, 1}, {"Thinner, at most", "% of the components", v.ThinnerMaxPct, 1},
			{"Rises under vacuum", "times", v.FoamRise, 1}, {"Pressure to cure under", "kPa over the air's", v.PotKPa, 0}, {"Expansion", "mm per m and K", 1000 * v.ExpansionPerK, 4}} {
			if l.v > 0 {
				row(l.name, number(l.v, l.d)+" "+l.unit)
			}
		}
		row("Hardness", hardnessWords(v.Hardness))
		row("Elongation at break", orUnknown(v.ElongationPct, "%"))
		if v.Notes != "" {
			row("Notes", v.Notes)
		}
	})
	printList(w, "Cautions", v.Cautions)
}

type materialCheckCmd struct {
	File string `arg:"" help:"The material file."`
}

func (c materialCheckCmd) Run(s *session) error {
	own, err := material.ReadFile(c.File)
	if err != nil {
		return err
	}
	ids := make([]string, len(own.All()))
	for i, m := range own.All() {
		ids[i] = m.ID
	}
	v := struct {
		File      string   `json:"file"`
		Materials []string `json:"materials"`
	}{c.File, ids}
	err = s.result(v, func(w io.Writer) {
		fmt.Fprintf(w, "%s is sound: %d materials\n", c.File, len(ids))
		for _, id := range ids {
			fmt.Fprintln(w, "  "+id)
		}
	})
	if err == nil {
		s.hint("mouldwright material show --library %s %s", c.File, ids[0])
	}
	return err
}

func valuesWords(m *material.Material) string {
	if m.Typical {
		return "typical"
	}
	return "as entered"
}

func densityWords(d material.Density) string {
	how := "data sheet"
	if d.Estimated {
		how = "estimate"
	}
	return fmt.Sprintf("%.3f g/mL ± %s %% (%s)", d.GPerML, number(d.ErrorPct, 1), how)
}

func durationWords(d *material.Duration) string {
	if d == nil {
		return "not known"
	}
	at := fmt.Sprintf("at %s °C", number(d.AtC, 1))
	switch {
	case d.Seconds < 120:
		return fmt.Sprintf("%s s %s", number(d.Seconds, 0), at)
	case d.Seconds < 2*3600:
		return fmt.Sprintf("%s min %s", number(d.Seconds/60, 1), at)
	}
	return fmt.Sprintf("%s h %s", number(d.Seconds/3600, 1), at)
}

func shrinkageWords(m *material.Material) string {
	if m.ShrinkagePct == nil {
		return "not known"
	}
	return number(*m.ShrinkagePct, 3) + " %"
}

func hardnessWords(h *material.Hardness) string {
	if h == nil {
		return "not known"
	}
	return fmt.Sprintf("Shore %s %s", h.Scale, number(h.Value, 1))
}

func orUnknown(v float64, unit string) string {
	if v == 0 {
		return "not known"
	}
	return number(v, 2) + " " + unit
}
