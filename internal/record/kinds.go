package record

import "time"

// Date is a day in the shop's own calendar, "2006-01-02"; "" is not known or not applicable.
type Date string

// Head is what every record has. ID may be left empty when adding: the record then gets the next
// number of its kind, as in shot-17. Rev counts from 1.
type Head struct {
	ID  string `json:"id"`
	Rev int    `json:"rev"`
	// Seq is the event that added the record; records of a kind are listed in its order.
	Seq int64 `json:"seq"`
}

// Mould is one made mould, which wears.
type Mould struct {
	Head
	Name          string `json:"name"`
	Job           string `json:"job"`
	Version       string `json:"version"`
	Family        string `json:"family"`
	MadeOn        Date   `json:"made_on"`
	ExpectedShots int    `json:"expected_shots"` // 0: not known
	RetiredOn     Date   `json:"retired_on,omitempty"`
	Notes         string `json:"notes,omitempty"`
}

// Lot is one container of one component.
type Lot struct {
	Head
	Material    string  `json:"material"`  // the material's id
	Component   string  `json:"component"` // as the material names it
	MakerLot    string  `json:"maker_lot"` // the number on the label
	ExpiresOn   Date    `json:"expires_on,omitempty"`
	OpenedOn    Date    `json:"opened_on,omitempty"`
	DaysOpenMax int     `json:"days_open_max,omitempty"` // how long it keeps once opened; 0: not known
	NetG        float64 `json:"net_g,omitempty"`         // what it held when it was new; 0: not known
	EmptiedOn   Date    `json:"emptied_on,omitempty"`
	Notes       string  `json:"notes,omitempty"`
}

// Absence is a time in which a person cannot work: whole days, the last one included.
type Absence struct {
	Head
	Operator string `json:"operator"`
	FromDay  Date   `json:"from_day"`
	UntilDay Date   `json:"until_day"`
	Reason   string `json:"reason,omitempty"`
}

// Mix is one batch of mixed material.
type Mix struct {
	Head
	Job          string    `json:"job"`
	Material     string    `json:"material"`
	MixedAt      time.Time `json:"mixed_at"`
	TemperatureC *float64  `json:"temperature_c,omitempty"`
	HumidityPct  *float64  `json:"humidity_pct,omitempty"`
	PotLifeS     *float64  `json:"pot_life_s,omitempty"` // at the shop's temperature
	TolerancePct float64   `json:"tolerance_pct"`        // largest error of the ratio that cures well
	Operator     string    `json:"operator"`
	Parts        []MixPart `json:"parts"`
	// Deviation is the reason for going on although something is off: a lot past its date, a ratio
	// out of tolerance. Without it such a mix is refused.
	Deviation string `json:"deviation,omitempty"`
	Notes     string `json:"notes,omitempty"`
}

// MixPart is one component of a mix.
type MixPart struct {
	Component string  `json:"component"`
	Lot       string  `json:"lot"`
	AskedG    float64 `json:"asked_g"`
	WeighedG  float64 `json:"weighed_g"`
}

// Run is one walk through the steps of a job, which sign-offs belong to.
type Run struct {
	Head
	Job       string    `json:"job"`
	Mould     string    `json:"mould,omitempty"`
	StartedAt time.Time `json:"started_at"`
	Operator  string    `json:"operator"`
	Steps     []RunStep `json:"steps"`
	Notes     string    `json:"notes,omitempty"`
	// Plan is what the steps say in full, as the JSON of package steps' Plan when the run began; "" where
	// it was not kept.
	Plan string `json:"plan,omitempty"`
}

// RunStep is one step in the order of the run.
type RunStep struct {
	Step  string `json:"step"`
	Title string `json:"title"`
	Hard  bool   `json:"hard"` // nothing after it may be signed before it is
}

// SignOff says that a step was done, or skipped and why.
type SignOff struct {
	Head
	Run      string    `json:"run"`
	Step     string    `json:"step"`
	Operator string    `json:"operator"`
	SignedAt time.Time `json:"signed_at"`
	Value    *float64  `json:"value,omitempty"`
	Unit     string    `json:"unit,omitempty"`
	Skipped  bool      `json:"skipped"`
	Reason   string    `json:"reason,omitempty"` // needed when skipped
}

// Outcome is what became of a casting.
type Outcome string

// A casting is good, can be mended, is scrap, or is still in the mould.
const (
	Good    Outcome = "good"
	Mended  Outcome = "mended"
	Scrap   Outcome = "scrap"
	Pending Outcome = "pending"
)

// Shot is one casting: one cavity in one filling of one mould. Castings of one filling share PouredAt,
// and the mould's life counts fillings.
type Shot struct {
	Head
	Mould       string     `json:"mould"`
	Mix         string     `json:"mix,omitempty"`
	Run         string     `json:"run,omitempty"`
	Cavity      int        `json:"cavity"` // from 1
	PouredAt    time.Time  `json:"poured_at"`
	ClosedAt    *time.Time `json:"closed_at,omitempty"`
	DemouldedAt *time.Time `json:"demoulded_at,omitempty"`
	PotKPa      *float64   `json:"pot_kpa,omitempty"` // over the air's pressure, as a gauge shows it
	TiltDeg     *float64   `json:"tilt_deg,omitempty"`
	CureC       *float64   `json:"cure_c,omitempty"`
	Outcome     Outcome    `json:"outcome"`
	CastingG    *float64   `json:"casting_g,omitempty"`
	PredictedG  *float64   `json:"predicted_g,omitempty"`
	Operator    string     `json:"operator"`
	Defects     []Defect   `json:"defects,omitempty"`
	Notes       string     `json:"notes,omitempty"`
}

// Defect is one fault of a casting; codes are those of Defects.
type Defect struct {
	Code  string `json:"code"`
	Place string `json:"place,omitempty"` // where on the part
}

// Photo is a picture of a casting; its bytes are a file named by its checksum (Store.KeepPhoto).
type Photo struct {
	Head
	Shot      string `json:"shot"`
	SHA256    string `json:"sha256"`
	Bytes     int64  `json:"bytes"`
	MediaType string `json:"media_type"`
	Caption   string `json:"caption,omitempty"`
}
