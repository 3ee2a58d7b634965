package record

import (
	"fmt"
	"time"
)

// Record is one of the kinds: *Mould, *Lot, *Mix, *Run, *SignOff, *Shot, *Photo, *Absence.
type Record interface {
	kind() string
	head() *Head
	columns() []column
	lines() *lines // rows of a table of its own; nil when the kind has none
	check() error  // what can be judged without the database
}

// column binds a column to a field, for writing and for reading.
type column struct {
	name string
	ptr  any // *string, *Date, *Outcome, *int, *int64, *bool, *float64, **float64, *time.Time, **time.Time, *ref
}

// lines are the rows of a record in a table of their own.
type lines struct {
	table string
	rows  func() [][]column
	grow  func() []column // appends a row and binds it
}

func (h *Head) head() *Head     { return h }
func (h *Head) lines() *lines   { return nil }
func (m *Mould) kind() string   { return "mould" }
func (l *Lot) kind() string     { return "lot" }
func (m *Mix) kind() string     { return "mix" }
func (r *Run) kind() string     { return "run" }
func (s *SignOff) kind() string { return "sign-off" }
func (s *Shot) kind() string    { return "shot" }
func (p *Photo) kind() string   { return "photo" }
func (a *Absence) kind() string { return "absence" }
func (h *Head) fixed() []column { return []column{{"id", &h.ID}, {"rev", &h.Rev}, {"seq", &h.Seq}} }
func table(r Record) string     { return kinds[r.kind()].table }
func newRecord(k string) Record { return kinds[k].make() }
func all(r Record) []column     { return append(r.head().fixed(), r.columns()...) }
func known(k string) (ok bool)  { _, ok = kinds[k]; return ok }
func line(n int, c ...column) []column {
	return append([]column{{"line", &n}}, c...)
}

// kinds maps a kind to its table, in the order in which tables refer to each other.
var kinds = map[string]struct {
	table string
	make  func() Record
}{
	"mould":    {"moulds", func() Record { return &Mould{} }},
	"lot":      {"lots", func() Record { return &Lot{} }},
	"mix":      {"mixes", func() Record { return &Mix{} }},
	"run":      {"runs", func() Record { return &Run{} }},
	"sign-off": {"sign_offs", func() Record { return &SignOff{} }},
	"shot":     {"shots", func() Record { return &Shot{} }},
	"photo":    {"photos", func() Record { return &Photo{} }},
	"absence":  {"absences", func() Record { return &Absence{} }},
}

// kindOrder is the order in which kinds can be written: what is referred to comes first.
var kindOrder = []string{"mould", "lot", "mix", "run", "sign-off", "shot", "photo", "absence"}

func (m *Mould) columns() []column {
	return []column{{"name", &m.Name}, {"job", &m.Job}, {"version", &m.Version}, {"family", &m.Family}, {"made_on", &m.MadeOn},
		{"expected_shots", &m.ExpectedShots}, {"retired_on", &m.RetiredOn}, {"notes", &m.Notes}}
}

func (l *Lot) columns() []column {
	return []column{{"material", &l.Material}, {"component", &l.Component}, {"maker_lot", &l.MakerLot}, {"expires_on", &l.ExpiresOn},
		{"opened_on", &l.OpenedOn}, {"days_open_max", &l.DaysOpenMax}, {"net_g", &l.NetG}, {"emptied_on", &l.EmptiedOn}, {"notes", &l.Notes}}
}

func (m *Mix) columns() []column {
	return []column{{"job", &m.Job}, {"material", &m.Material}, {"mixed_at", &m.MixedAt}, {"temperature_c", &m.TemperatureC},
		{"humidity_pct", &m.HumidityPct}, {"pot_life_s", &m.PotLifeS}, {"tolerance_pct", &m.TolerancePct},
		{"operator", &m.Operator}, {"deviation", &m.Deviation}, {"notes", &m.Notes}}
}

func (m *Mix) lines() *lines {
	bind := func(i int) []column {
		p := &m.Parts[i]
		return line(i, column{"component", &p.Component}, column{"lot", &p.Lot}, column{"asked_g", &p.AskedG}, column{"weighed_g", &p.WeighedG})
	}
	return &lines{"mix_parts", bound(&m.Parts, bind), grown(&m.Parts, bind)}
}

func (r *Run) columns() []column {
	return []column{{"job", &r.Job}, {"mould", &r.Mould}, {"started_at", &r.StartedAt}, {"operator", &r.Operator}, {"notes", &r.Notes}, {"plan", &r.Plan}}
}

func (r *Run) lines() *lines {
	bind := func(i int) []column {
		s := &r.Steps[i]
		return line(i, column{"step", &s.Step}, column{"title", &s.Title}, column{"hard", &s.Hard})
	}
	return &lines{"run_steps", bound(&r.Steps, bind), grown(&r.Steps, bind)}
}

func (s *SignOff) columns() []column {
	return []column{{"run", &s.Run}, {"step", &s.Step}, {"operator", &s.Operator}, {"signed_at", &s.SignedAt}, {"value", &s.Value},
		{"unit", &s.Unit}, {"skipped", &s.Skipped}, {"reason", &s.Reason}}
}

func (s *Shot) columns() []column {
	return []column{{"mould", &s.Mould}, {"mix", (*ref)(&s.Mix)}, {"run", (*ref)(&s.Run)}, {"cavity", &s.Cavity}, {"poured_at", &s.PouredAt},
		{"closed_at", &s.ClosedAt}, {"demoulded_at", &s.DemouldedAt}, {"pot_kpa", &s.PotKPa}, {"tilt_deg", &s.TiltDeg},
		{"cure_c", &s.CureC}, {"outcome", &s.Outcome}, {"casting_g", &s.CastingG}, {"predicted_g", &s.PredictedG},
		{"operator", &s.Operator}, {"notes", &s.Notes}}
}

func (s *Shot) lines() *lines {
	bind := func(i int) []column {
		return line(i, column{"code", &s.Defects[i].Code}, column{"place", &s.Defects[i].Place})
	}
	return &lines{"shot_defects", bound(&s.Defects, bind), grown(&s.Defects, bind)}
}

func (p *Photo) columns() []column {
	return []column{{"shot", &p.Shot}, {"sha256", &p.SHA256}, {"bytes", &p.Bytes}, {"media_type", &p.MediaType}, {"caption", &p.Caption}}
}

func (a *Absence) columns() []column {
	return []column{{"operator", &a.Operator}, {"from_day", &a.FromDay}, {"until_day", &a.UntilDay}, {"reason", &a.Reason}}
}

func bound[T any](list *[]T, bind func(int) []column) func() [][]column {
	return func() [][]column {
		out := make([][]column, len(*list))
		for i := range *list {
			out[i] = bind(i)
		}
		return out
	}
}

func grown[T any](list *[]T, bind func(int) []column) func() []column {
	return func() []column {
		var zero T
		*list = append(*list, zero)
		return bind(len(*list) - 1)
	}
}

// ref is the id of another record; "" is stored as NULL, so that the database can check the rest.
type ref string

// timeLayout has one width, so that the order of texts is that of times.
const timeLayout = "2006-01-02T15:04:05.000000Z"

func timeText(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(timeLayout)
}

// stored is the value as the database holds it.
func (c column) stored() any {
	switch p := c.ptr.(type) {
	case *string:
		return *p
	case *Date:
		return string(*p)
	case *Outcome:
		return string(*p)
	case *ref:
		if *p == "" {
			return nil
		}
		return string(*p)
	case *int:
		return int64(*p)
	case *int64:
		return *p
	case *bool:
		if *p {
			return int64(1)
		}
		return int64(0)
	case *float64:
		return *p
	case **float64:
		if *p == nil {
			return nil
		}
		return **p
	case *time.Time:
		return timeText(*p)
	case **time.Time:
		if *p == nil {
			return ""
		}
		return timeText(**p)
	}
	return fmt.Errorf("column %s has a type that is not stored", c.name) // the driver refuses it
}

// Scan implements sql.Scanner: it sets the field from what the database holds.
func (c column) Scan(v any) error {
	if b, ok := v.([]byte); ok {
		v = string(b)
	}
	bad := fmt.Errorf("column %s holds %v (%T), which does not belong there", c.name, v, v)
	switch p := c.ptr.(type) {
	case **float64:
		*p = nil
		if v == nil {
			return nil
		}
		f, ok := v.(float64)
		if !ok {
			return bad
		}
		*p = &f
		return nil
	case *float64:
		f, ok := v.(float64)
		if !ok {
			return bad
		}
		*p = f
		return nil
	case *int, *int64, *bool:
		n, ok := v.(int64)
		if !ok {
			return bad
		}
		switch p := p.(type) {
		case *int:
			*p = int(n)
		case *int64:
			*p = n
		case *bool:
			*p = n != 0
		}
		return nil
	}
	s, ok := v.(string)
	if v == nil {
		ok = true
	}
	if !ok {
		return bad
	}
	return c.scanText(s, bad)
}

func (c column) scanText(s string, bad error) error {
	switch p := c.ptr.(type) {
	case *string:
		*p = s
	case *Date:
		*p = Date(s)
	case *Outcome:
		*p = Outcome(s)
	case *ref:
		*p = ref(s)
	case *time.Time, **time.Time:
		var t time.Time
		if s != "" {
			var err error
			if t, err = time.Parse(timeLayout, s); err != nil {
				return bad
			}
		}
		if one, ok := p.(*time.Time); ok {
			*one = t
		} else if s != "" {
			*p.(**time.Time) = &t
		}
	default:
		return bad
	}
	return nil
}
