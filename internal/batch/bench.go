package batch

import (
	"fmt"
	"math"
	"time"
)

// Bench is what the maker has and wants.
type Bench struct {
	Name      string
	Start     time.Time  // midnight of the first day, as a floating time
	Days      int        // how far the plan may reach
	Operators int        // at most at once
	Staff     []Operator // by name, as many as Operators; nil: they are alike
	Shelf     int        // moulds that may cure on the shelf; 0 is any number
	Shifts    []Shift
	Closed    []time.Time // days without shifts
	Mixing    Mixing
	Pot       *Pot    // nil: parts cure without pressure
	Vacuum    *Vacuum // nil: mixes are not degassed
	Tools     []Tool
	Recipes   []Recipe
	Versions  []Version
	Materials []Material
	Money     Money
	Quoting   Quoting
	Stock     Stock
	Ways      []Way // tooling options to compare
	Learn     Learn
	Learned   []Learned // what the records say; FromRecords fills it in
	Warnings  []string  // what in the file, its jobs or the records does not agree
}

// Shift is a time of day at which operators work.
type Shift struct {
	Days     []time.Weekday
	From, To int64 // s from midnight
}

// Mixing is the mixing place: one mix at a time.
type Mixing struct {
	CapacityG float64
	PurgeS    int64 // to clean or change the mixing tools between two colours
}

// Pot is a kind of pressure pot.
type Pot struct {
	Count                             int
	DiameterMM, HeightMM, ClearanceMM float64 // inside; clearance is kept round every mould
	Price                             float64 // of one more; 0: not known
}

// Vacuum is a kind of vacuum chamber; a mix is degassed whole.
type Vacuum struct {
	Count     int
	CapacityG float64
}

// Tool is a kind of mould and how many of it there are.
type Tool struct {
	Name      string
	Count     int
	Cavities  int
	BoxMM     [3]float64 // closed, as it stands in the pot: width, depth, height
	LifeShots int        // 0: not known, not limited
	Used      []int      // shots that each has behind it
	Job       string     // the part of the job that it was made by; "" is not known
	Broken    []bool     // moulds that take no more shots
	MouldIDs  []string   // ids in the records, one a mould; none: not recorded
}

// Recipe is how a shot is made.
type Recipe struct {
	Name                                  string
	ShotG                                 float64 // mixed for one shot
	CoatS, DryS, CoatValidS               int64   // release coat, then at least DryS and at most CoatValidS to the pour
	MixS, DegasS, PourS, CloseS, PotLifeS int64   // pour and close for one mould; pot life from the start of the mix
	LoadS, PressureS, UnloadS             int64   // the pot, once a load
	CureS, DemouldS, TrimS                int64   // cure from the end of the pour; trim for one part
	Material                              string
}

// Version is a part in a colour, and how many of it are wanted.
type Version struct {
	Name, Colour string
	Quantity     int
	SparePct     float64 // castings expected to be scrap
	Order        string  // whose it is, where the bench works on several at once
	Priority     int     // lateness counts so many times; 0 is once
	Due          *int64  // s; the end of its day
	Tool, Recipe int     // indices
}

// Shots is how many fillings make the quantity and its spares.
func (b *Bench) Shots(v int) int {
	ver := &b.Versions[v]
	parts := math.Ceil(float64(ver.Quantity)*(1+ver.SparePct/100) - 1e-9)
	c := b.Tools[ver.Tool].Cavities
	return (int(parts) + c - 1) / c
}

// left is how many shots are left in mould m of a tool; −1 is any number.
func (t *Tool) left(m int) int {
	if m < len(t.Broken) && t.Broken[m] {
		return 0
	}
	if t.LifeShots == 0 {
		return -1
	}
	if m < len(t.Used) {
		return max(0, t.LifeShots-t.Used[m])
	}
	return t.LifeShots
}

// usable is how many moulds of a tool take shots.
func (t *Tool) usable() (n int) {
	for m := range t.Count {
		if t.left(m) != 0 {
			n++
		}
	}
	return n
}

// MouldName is how mould m of a tool is called on lists.
func (t *Tool) MouldName(m int) string { return fmt.Sprintf("%s %d", t.Name, m+1) }

// Clock writes a time of the plan as a day and a time of day.
func (b *Bench) Clock(s int64) string { return b.at(s).Format("Mon 2 Jan 15:04") }

func (b *Bench) at(s int64) time.Time { return b.Start.Add(time.Duration(s) * time.Second) }
