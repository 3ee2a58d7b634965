package fill

import "gonum.org/v1/gonum/spatial/r3"

// Setup says how a cavity is filled; the zero value of every field but Pour is sensible.
type Setup struct {
	// Up points against gravity; zero means +z.
	Up r3.Vec
	// Pour are the places where resin runs in, all equally fast; Vents those where air leaves.
	Pour, Vents []r3.Vec
	// PourClosed says that no air leaves at the pour points: a nozzle is pressed on. Else air leaves
	// there until the resin covers them.
	PourClosed bool
	// MarksOnShow allows vents and pour points on show faces.
	MarksOnShow bool

	// DensityGML of the resin, g/mL, for the head that squeezes trapped air; 0 means 1.1: typical of
	// casting resins, common practice.
	DensityGML float64
	// AirKPa is the pressure, absolute, at which the air is caught; 0 means 101.325. PotKPa is the
	// absolute pressure put on afterwards; 0 leaves it at AirKPa.
	AirKPa, PotKPa float64

	// Frames are shares of the cavity's volume, 0 to 1, at which to keep the state for pictures.
	Frames []float64
	// NoCheckRun leaves out the second run at twice the pitch, which gives the errors.
	NoCheckRun bool
}

// Result of a fill.
type Result struct {
	Up             r3.Vec       `json:"up"`
	PitchMM        float64      `json:"pitch_mm"`
	Columns        int          `json:"columns"`
	CavityMM3      float64      `json:"cavity_mm3"`
	FilledMM3      float64      `json:"filled_mm3"`  // resin in it in the end; CavityMM3 less what follows
	TrappedMM3     float64      `json:"trapped_mm3"` // when it is caught
	TrappedErrMM3  float64      `json:"trapped_error_mm3"`
	UnderHeadMM3   float64      `json:"under_head_mm3"` // of TrappedMM3, under the head of the full mould
	InPotMM3       float64      `json:"in_pot_mm3"`     // the same under PotKPa as well
	OpenMM3        float64      `json:"open_mm3"`       // air that could leave, in places resin does not reach
	UnresolvedMM3  float64      `json:"unresolved_mm3"` // pockets of the grid's making, left out of TrappedMM3
	Pockets        []Pocket     `json:"pockets"`
	Basins         []Basin      `json:"basins"`
	Curve          []LevelPoint `json:"curve"`
	Frames         []Frame      `json:"-"`
	VolumeErrorMM3 float64      `json:"volume_error_mm3"` // columns' volume against the mesh's
	Words          []string     `json:"words"`

	last Frame // the end, for the map
}

// Pocket is air that stays.
type Pocket struct {
	VolumeMM3    float64 `json:"volume_mm3"` // when it is caught
	ErrorMM3     float64 `json:"error_mm3"`
	Exact        bool    `json:"exact"` // volume from the mesh itself, not from the columns
	Top          r3.Vec  `json:"top"`   // its highest point
	DepthMM      float64 `json:"depth_mm"`
	PouredMM3    float64 `json:"poured_mm3"` // when it closes
	LevelMM      float64 `json:"level_mm"`   // resin's height then, over the cavity's lowest point
	OnShow       bool    `json:"on_show"`    // a vent at its top would mark a show face
	UnderHeadMM3 float64 `json:"under_head_mm3"`
	InPotMM3     float64 `json:"in_pot_mm3"`
	Words        string  `json:"words"`
}

// Basin is a low place that fills by itself before it joins others.
type Basin struct {
	Low       r3.Vec  `json:"low"` // its lowest point
	VolumeMM3 float64 `json:"volume_mm3"`
	BeginsMM3 float64 `json:"begins_mm3"` // poured when resin first reaches it
	BrimMM    float64 `json:"brim_mm"`    // height over the cavity's lowest point where it runs over
}

// LevelPoint is one point of the curve of level against poured volume: the level is that of the
// highest pool, over the cavity's lowest point.
type LevelPoint struct {
	PouredMM3 float64 `json:"poured_mm3"`
	LevelMM   float64 `json:"level_mm"`
}
