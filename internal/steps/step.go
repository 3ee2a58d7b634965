package steps

import "mouldwright/internal/material"

// Phase is the kind of work, for grouping.
type Phase string

// The phases in the order of the work.
const (
	Prepare Phase = "prepare"
	Seal    Phase = "seal"
	Release Phase = "release"
	Set     Phase = "set up"
	Mix     Phase = "mix"
	Pour    Phase = "pour"
	Cure    Phase = "cure"
	Open    Phase = "open"
	Finish  Phase = "finish"
	Ballast Phase = "ballast"
	Record  Phase = "record"
)

// Step is one thing to do and to sign.
type Step struct {
	ID         string     `json:"id"` // stable for the same job, unique in the plan
	Phase      Phase      `json:"phase"`
	Stage      string     `json:"stage"` // "casting"; the silicone piece that is poured first; "ballast"
	Title      string     `json:"title"`
	Words      []string   `json:"words"`
	Quantities []Quantity `json:"quantities,omitempty"`
	Timers     []Timer    `json:"timers,omitempty"`
	Hard       bool       `json:"hard"`
	Once       bool       `json:"once"` // for the mould's first shot alone
	Piece      string     `json:"piece,omitempty"`
	Ask        *Ask       `json:"ask,omitempty"` // what to write down when signing
	Cautions   []string   `json:"cautions,omitempty"`
	Why        string     `json:"why,omitempty"`
	Source     string     `json:"source,omitempty"`
}

// Quantity is an amount with its unit.
type Quantity struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
	Note  string  `json:"note,omitempty"`
}

// Timer is a time to keep. LowS and HighS are its range where it is an estimate, else 0.
type Timer struct {
	Name  string  `json:"name"`
	S     float64 `json:"s"`
	LowS  float64 `json:"low_s,omitempty"`
	HighS float64 `json:"high_s,omitempty"`
	Basis string  `json:"basis,omitempty"`
}

// Ask is a number that the step wants written down.
type Ask struct {
	Words string  `json:"words"`
	Unit  string  `json:"unit"`
	Want  float64 `json:"want,omitempty"`
}

// Plan is every step of one run, with what holds for all of them.
type Plan struct {
	Job        string              `json:"job"`
	Material   string              `json:"material"`
	Family     string              `json:"family"`
	Shots      int                 `json:"shots"`
	Batch      *material.BatchPlan `json:"batch"`
	CupML      float64             `json:"cup_ml"` // brim volume of the cups that it counts on
	NeverTouch []string            `json:"never_touch"`
	Cautions   []string            `json:"cautions"`
	// BackfillCautions are those of a ballast's resin; none where there is none.
	BackfillCautions []string `json:"backfill_cautions,omitempty"`
	Warnings         []string `json:"warnings"`
	Steps            []Step   `json:"steps"`
}

// practice stands by what the trade does.
const practice = "common practice, no source"
