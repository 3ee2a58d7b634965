package job

import "mouldwright/internal/choice"

// CompareRule holds the batch and the prices by which the ways to mould a part are compared. Prices are in
// the maker's own currency; 0 takes a typical value.
type CompareRule struct {
	Batch           int     `toml:"batch"`
	Currency        string  `toml:"currency"`
	PrintPerML      float64 `toml:"print_per_ml"`
	SiliconePerML   float64 `toml:"silicone_per_ml"`
	CastingPerML    float64 `toml:"casting_per_ml"`
	LabourPerH      float64 `toml:"labour_per_h"`
	PieceMin        float64 `toml:"piece_min"`
	PourMin         float64 `toml:"pour_min"`
	TrimMinPer100MM float64 `toml:"trim_min_per_100mm"`
	ShowTrimTimes   float64 `toml:"show_trim_times"`
}

func (r CompareRule) prices() choice.Prices {
	return choice.Prices{Currency: r.Currency, PrintPerML: r.PrintPerML, SiliconePerML: r.SiliconePerML, CastingPerML: r.CastingPerML, LabourPerH: r.LabourPerH,
		PieceMin: r.PieceMin, PourMin: r.PourMin, TrimMinPer100MM: r.TrimMinPer100MM, ShowTrimTimes: r.ShowTrimTimes}
}

// Typical are the prices with typical values where the job has none.
func (r CompareRule) Typical() choice.Prices { return r.prices().WithTypical() }

// ranges are the plain numbers with the span that makes sense; currencies differ by a factor of many
// thousands, so prices are hardly bounded.
func (r CompareRule) ranges() []settingRange {
	const money = 1e9
	return []settingRange{
		{"compare.batch", float64(r.Batch), 0, 1e6, "castings"},
		{"compare.print_per_ml", r.PrintPerML, 0, money, "per mL"},
		{"compare.silicone_per_ml", r.SiliconePerML, 0, money, "per mL"},
		{"compare.casting_per_ml", r.CastingPerML, 0, money, "per mL"},
		{"compare.labour_per_h", r.LabourPerH, 0, money, "per hour"},
		{"compare.piece_min", r.PieceMin, 0, 1e4, "minutes"},
		{"compare.pour_min", r.PourMin, 0, 1e4, "minutes"},
		{"compare.trim_min_per_100mm", r.TrimMinPer100MM, 0, 1e4, "minutes"},
		{"compare.show_trim_times", r.ShowTrimTimes, 0, 1e3, "times"},
	}
}
