package batch

// Material is what a recipe pours, as it is bought.
type Material struct {
	Name      string
	Kits      []Kit
	ShelfDays int // from the day it is bought; 0: not known
}

// Kit is a size that the material is sold in.
type Kit struct{ MassG, Price float64 }

// Money is what hands, machines and tools cost.
type Money struct {
	Currency    string
	LabourPerH  float64
	BenchPerDay float64            // rent, power, heat, for every day of the plan
	CoatPerShot float64            // release agent
	CupPerMix   float64            // cups, sticks, gloves
	MarginPct   float64            // of the price
	WastePct    float64            // of what is mixed
	ToolCost    map[string]float64 // one mould of a tool
}

// Way is a way of tooling to compare.
type Way struct {
	Name         string
	Moulds       int
	Cavities     int
	MouldCost    float64 // each
	LifeShots    int     // of each mould; 0: not limited
	MasterCost   float64 // pattern, mother mould: once per MasterMoulds moulds made
	MasterMoulds int     // moulds that one master yields; 0: any number
	HandS        int64   // hand work a shot
	ShotG        float64 // mixed a shot
	RoundsPerDay float64
}
