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
	BenchPerDay float64 // rent, power, heat, for every day of the plan
	PotPerH     float64 // an hour of one load in the pot
	VacuumPerH  float64
	CoatPerShot float64              // release agent
	CupPerMix   float64              // cups, sticks, gloves
	OverheadPct float64              // on all other costs
	MarginPct   float64              // of the price
	WastePct    float64              // of what is mixed
	MouldsWhole bool                 // moulds are charged whole, not by wear
	ToolCost    map[string]float64   // one mould of a tool
	MouldCosts  map[string]MouldCost // what the costs of tools rest on, where they are their jobs'
	Consumables []Consumable
}

// Consumable is what is used up beside the material: release, gloves, pigment, sealer, wax, filters.
type Consumable struct {
	Name   string
	Unit   string
	Amount float64 // for one of what Per says
	Per    Per
	Price  float64 // of one unit
}

// Per is what a consumable goes by.
type Per string

// What a consumable can go by.
const (
	PerShot  Per = "shot"
	PerMix   Per = "mix"
	PerPart  Per = "part"
	PerLoad  Per = "load"
	PerBatch Per = "batch"
)

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
