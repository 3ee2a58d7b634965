package choice

import "math"

// price fills in what the batch takes and costs.
func (r *Row) price(f *family, v *shapeOf, opt *Options) {
	for _, p := range f.printed {
		r.Printed = append(r.Printed, Amount{p.name, p.of(v)})
		r.PrintML += p.of(v)
	}
	for _, p := range f.silicone {
		r.Silicone = append(r.Silicone, Amount{p.name, p.of(v)})
		r.SiliconeML += p.of(v)
	}
	r.ErrorPct, r.Pours, r.Stages, r.TypicalShots = f.errorPct, f.pours, f.stages, f.shots
	r.Shots = int(math.Ceil(float64(opt.Batch) / (1 - f.scrapPct/100)))
	r.Moulds = (r.Shots + f.shots - 1) / f.shots
	p := opt.Prices
	// Flash off the show faces is cut; on them it is cut, sanded and polished.
	trimMin := p.TrimMinPer100MM / 100 * (r.FlashMM - r.ShowFlashMM + p.ShowTrimTimes*r.ShowFlashMM)
	shotMin := f.shotMin + trimMin
	r.CycleH = opt.DemouldH + f.shotMin/60
	setupMin := float64(len(f.printed))*p.PieceMin + float64(f.pours)*p.PourMin
	n, shots := float64(r.Moulds), float64(r.Shots)
	c := &r.Cost
	c.LabourH = (n*setupMin + shots*shotMin) / 60
	c.Prints = n * r.PrintML * p.PrintPerML
	c.Silicone = n * r.SiliconeML * p.SiliconePerML
	castML := v.volumeMM3 / mm3PerML
	if opt.Carrier != nil { // the casting flows round it
		castML = max(0, castML-opt.Carrier.VolumeMM3()/mm3PerML)
	}
	c.Castings = shots * castML * p.CastingPerML
	c.Labour = c.LabourH * p.LabourPerH
	c.Total = c.Prints + c.Silicone + c.Castings + c.Labour
	c.PerPart = c.Total / float64(opt.Batch)
	if c.Total > 0 {
		// Volumes are off by the formulas' error, hands-on times by labourErrorPct; they add up at worst.
		c.ErrorPct = (f.errorPct*(c.Prints+c.Silicone) + labourErrorPct*c.Labour) / c.Total
	}
}

// labourErrorPct: typical times differ from shop to shop by about this (common practice, no source).
const labourErrorPct = 30.0
