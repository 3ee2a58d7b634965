package batch

import (
	"bytes"
	"cmp"
	_ "embed"
	"errors"
	"fmt"
	"math"
	"strconv"
	"text/template"
	"time"

	"mouldwright/internal/choice"
	"mouldwright/internal/job"
)

//go:embed starter.toml
var starterText string

var starter = template.Must(template.New("starter").Funcs(template.FuncMap{"quoted": strconv.Quote, "number": func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }}).Parse(starterText))

// starterWeeks are given for a batch when nobody has said a date.
const starterWeeks = 4

// StarterJob is a job that a batch is begun from.
type StarterJob struct {
	Folder string // as the folder of the batch will see it, such as "../foot-ring"
	Report *job.Report
	Rule   job.CompareRule // the job's batch and prices
}

// starterPart is what the starter says of one job.
type starterPart struct {
	Name, Tool, Job, Recipe, Material string
	Quantity                          int
	DegasMin, PourMin, CloseMin       float64
	CureMin, PressureMin              float64
}

// typicalCureMin is the time to demoulding of a material that names none: overnight (common practice, no source).
const typicalCureMin = 960

// typicalDegasMin and typicalPressureMin: common practice, no source.
const typicalDegasMin, typicalPressureMin = 3, 240

// Starter is a batch.toml to begin with: the castings of one or several jobs, in the quantities that the jobs were
// compared for, with their materials, amounts, times, moulds and prices.
func Starter(jobs []StarterJob, start time.Time) ([]byte, error) {
	if len(jobs) == 0 {
		return nil, errors.New("name at least one job")
	}
	type kit struct {
		Material string
		Price    float64 // of 1000 g; 0: not known
	}
	d := struct {
		Name, Start, Due, Currency string
		LabourPerH                 float64
		Typical, HasPot, HasVacuum bool
		Parts                      []starterPart
		Kits                       []kit
	}{Start: start.Format(dateLayout), Due: start.AddDate(0, 0, 7*starterWeeks).Format(dateLayout)}
	seen, names := map[string]bool{}, map[string]int{}
	for _, j := range jobs {
		rep := j.Report
		if rep.Mould == nil || rep.Shot == nil {
			return nil, fmt.Errorf("job %s has no mould yet; run it first", j.Folder)
		}
		name := rep.Part.Name
		if names[name]++; names[name] > 1 {
			name += fmt.Sprintf(" %d", names[name])
		}
		prices := j.Rule.Typical()
		p := starterPart{Name: name, Tool: name + " mould", Job: j.Folder, Recipe: name + ", as its job says", Material: rep.Shot.MaterialID,
			Quantity: cmp.Or(j.Rule.Batch, choice.DefaultBatch), PourMin: 1, CloseMin: 0.5, CureMin: typicalCureMin}
		if b := rep.Bench; b != nil {
			p.PourMin, p.CloseMin = max(0.1, b.PourS/60), b.CloseS/60
			if b.Vacuum {
				p.DegasMin, d.HasVacuum = typicalDegasMin, true
			}
			if b.PotKPa > 0 {
				p.PressureMin, d.HasPot = typicalPressureMin, true
			}
			if b.Demould != nil {
				p.CureMin = math.Ceil(b.Demould.Seconds / 60)
			}
		}
		d.Parts = append(d.Parts, p)
		if !seen[p.Material] {
			seen[p.Material] = true
			k := kit{Material: p.Material, Price: 30}
			if g := rep.Shot.Density.GPerML; g > 0 {
				k.Price = math.Round(100*1000*prices.CastingPerML/g) / 100
			}
			d.Kits = append(d.Kits, k)
		}
		d.Name = cmp.Or(d.Name, name)
		d.Currency = cmp.Or(d.Currency, prices.Currency)
		d.LabourPerH = max(d.LabourPerH, prices.LabourPerH)
		d.Typical = d.Typical || prices.Typical
	}
	if len(d.Parts) > 1 {
		d.Name += fmt.Sprintf(" and %d more", len(d.Parts)-1)
	}
	d.Currency = cmp.Or(d.Currency, "EUR")
	var b bytes.Buffer
	if err := starter.Execute(&b, d); err != nil {
		return nil, fmt.Errorf("write a first batch.toml: %w", err)
	}
	return b.Bytes(), nil
}
