package record

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

const (
	maxTextBytes = 20_000 // of one field; a long note is a few hundred
	// maxPlanBytes holds the plan of a run: 10 kB for a simple mould, and 0.6 kB more for each filling.
	maxPlanBytes = 1 << 20
	maxIDBytes   = 64
	dateLayout   = "2006-01-02"
)

func validID(id string) bool {
	if id == "" || len(id) > maxIDBytes {
		return false
	}
	for _, r := range id {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_.", r)) {
			return false
		}
	}
	return true
}

// checkText refuses what one of the databases could not hold.
func checkText(kind, id, field, s string) error {
	most := maxTextBytes
	if kind == (&Run{}).kind() && field == "plan" {
		most = maxPlanBytes
	}
	switch {
	case !utf8.ValidString(s) || strings.ContainsRune(s, 0):
		return &InputError{kind, id, field, "the text holds bytes that are no letters", "type it again"}
	case len(s) > most:
		return &InputError{kind, id, field, fmt.Sprintf("the text is %d bytes long", len(s)), fmt.Sprintf("keep it under %d", most)}
	}
	return nil
}

// checker collects what is wrong with a record.
type checker struct {
	r   Record
	all []error
}

func (c *checker) bad(field, what, do string) {
	c.all = append(c.all, &InputError{c.r.kind(), c.r.head().ID, field, what, do})
}

func (c *checker) need(field, s, do string) {
	if strings.TrimSpace(s) == "" {
		c.bad(field, "it is missing", do)
	}
}

// within checks an optional measurement. The ranges catch a wrong unit, not an odd shop.
func (c *checker) within(field string, v *float64, lo, hi float64, unit string) {
	if v != nil && !(*v >= lo && *v <= hi) {
		c.bad(field, fmt.Sprintf("it is %g %s", *v, unit), fmt.Sprintf("it must be from %g to %g %s; check the value and its unit", lo, hi, unit))
	}
}

func (c *checker) date(field string, d Date) {
	if _, err := time.Parse(dateLayout, string(d)); d != "" && err != nil {
		c.bad(field, fmt.Sprintf("%q is not a date", d), "write it as 2026-03-31")
	}
}

func (c *checker) time(field string, t time.Time) {
	if t.Year() < 2000 || t.Year() > 9999 {
		c.bad(field, "the time is missing or not sensible", "give the day and time it happened")
	}
}

// done adds what holds for every text of every kind.
func (c *checker) done() error {
	cols := c.r.columns()
	if ls := c.r.lines(); ls != nil {
		for _, row := range ls.rows() {
			cols = append(cols, row...)
		}
	}
	for _, col := range cols {
		if s, ok := col.stored().(string); ok {
			if err := checkText(c.r.kind(), c.r.head().ID, col.name, s); err != nil {
				c.all = append(c.all, err)
			}
		}
	}
	return errors.Join(c.all...)
}

func (m *Mould) check() error {
	c := &checker{r: m}
	c.need("name", m.Name, "say what you call the mould, as on its label")
	c.date("made_on", m.MadeOn)
	c.date("retired_on", m.RetiredOn)
	if m.ExpectedShots < 0 {
		c.bad("expected_shots", fmt.Sprintf("it is %d", m.ExpectedShots), "give 0 if it is not known")
	}
	return c.done()
}

func (l *Lot) check() error {
	c := &checker{r: l}
	c.need("material", l.Material, "name the material by its id")
	c.need("component", l.Component, "say which component this is")
	c.date("expires_on", l.ExpiresOn)
	c.date("opened_on", l.OpenedOn)
	c.date("emptied_on", l.EmptiedOn)
	c.within("net_g", &l.NetG, 0, 1e7, "g (0: not known)")
	if l.DaysOpenMax < 0 || l.DaysOpenMax > 0 && l.OpenedOn == "" {
		c.bad("days_open_max", fmt.Sprintf("it keeps %d days once opened, but is not marked as opened", l.DaysOpenMax), "give opened_on too, or 0 days if that is not known")
	}
	return c.done()
}

func (a *Absence) check() error {
	c := &checker{r: a}
	c.need("operator", a.Operator, "say who is away")
	for _, d := range []struct {
		key string
		day Date
	}{{"from_day", a.FromDay}, {"until_day", a.UntilDay}} {
		c.need(d.key, string(d.day), "give the day as 2026-03-04")
		c.date(d.key, d.day)
	}
	if a.UntilDay < a.FromDay {
		c.bad("until_day", fmt.Sprintf("%s is before %s", a.UntilDay, a.FromDay), "give the last day of the absence")
	}
	return c.done()
}

// LastDay is the last day on which the lot is good: its date, or the day its time open ends if that is
// sooner; "" when neither is known.
func (l *Lot) LastDay() Date {
	last := l.ExpiresOn
	if t, err := time.Parse(dateLayout, string(l.OpenedOn)); err == nil && l.DaysOpenMax > 0 {
		if open := Date(t.AddDate(0, 0, l.DaysOpenMax).Format(dateLayout)); last == "" || open < last {
			last = open
		}
	}
	return last
}

func (m *Mix) check() error {
	c := &checker{r: m}
	c.need("material", m.Material, "name the material by its id")
	c.need("operator", m.Operator, "say who mixed")
	c.time("mixed_at", m.MixedAt)
	c.within("temperature_c", m.TemperatureC, -20, 120, "°C")
	c.within("humidity_pct", m.HumidityPct, 0, 100, "%")
	c.within("pot_life_s", m.PotLifeS, 1, 1e6, "s")
	c.within("tolerance_pct", &m.TolerancePct, 0.1, 50, "%")
	if len(m.Parts) == 0 {
		c.bad("parts", "no components", "give each component with its lot and weights")
	}
	var seen []string
	for _, p := range m.Parts {
		field := "component " + p.Component
		c.need("component", p.Component, "name each component")
		c.need(field, p.Lot, "give the lot it came from; add the lot first if it is new")
		if slices.Contains(seen, p.Component+"\x00"+p.Lot) {
			c.bad(field, "it stands twice with the same lot", "add the weights up")
		}
		seen = append(seen, p.Component+"\x00"+p.Lot)
		for _, w := range []struct {
			what string
			g    float64
		}{{"asked", p.AskedG}, {"weighed", p.WeighedG}} {
			c.within(field+", "+w.what, &w.g, 1e-4, 1e6, "g")
		}
	}
	return c.done()
}

// RatioErrorPct is the worst error that the weights make in the ratio of any two components, in %: the
// largest weighed/asked over the smallest, less one. Lots of one component count together.
func (m *Mix) RatioErrorPct() float64 {
	var names []string
	asked, weighed := map[string]float64{}, map[string]float64{}
	for _, p := range m.Parts {
		if !slices.Contains(names, p.Component) {
			names = append(names, p.Component)
		}
		asked[p.Component] += p.AskedG
		weighed[p.Component] += p.WeighedG
	}
	lo, hi := math.Inf(1), 0.0
	for _, n := range names {
		q := weighed[n] / asked[n]
		lo, hi = min(lo, q), max(hi, q)
	}
	return 100 * (hi/lo - 1)
}

func (r *Run) check() error {
	c := &checker{r: r}
	c.need("job", r.Job, "name the job whose steps these are")
	c.need("operator", r.Operator, "say who does the work")
	c.time("started_at", r.StartedAt)
	if len(r.Steps) == 0 {
		c.bad("steps", "no steps", "take them from the job")
	}
	var seen []string
	for _, s := range r.Steps {
		c.need("step", s.Step, "give each step its id")
		c.need("step "+s.Step, s.Title, "give each step its title")
		if slices.Contains(seen, s.Step) {
			c.bad("step "+s.Step, "it stands twice", "give each step its own id")
		}
		seen = append(seen, s.Step)
	}
	return c.done()
}

func (s *SignOff) check() error {
	c := &checker{r: s}
	c.need("run", s.Run, "name the run")
	c.need("step", s.Step, "name the step")
	c.need("operator", s.Operator, "a sign-off needs a name")
	c.time("signed_at", s.SignedAt)
	if s.Skipped {
		c.need("reason", s.Reason, "a step is skipped only with a reason, signed")
	}
	if s.Value != nil && (math.IsNaN(*s.Value) || math.IsInf(*s.Value, 0)) {
		c.bad("value", "it is not a number", "give the number you read")
	}
	return c.done()
}

func (s *Shot) check() error {
	c := &checker{r: s}
	c.need("mould", s.Mould, "name the mould")
	c.need("operator", s.Operator, "say who poured")
	c.time("poured_at", s.PouredAt)
	if s.Cavity < 1 {
		c.bad("cavity", fmt.Sprintf("it is %d", s.Cavity), "count cavities from 1")
	}
	c.within("pot_kpa", s.PotKPa, -101.4, 2000, "kPa over the air")
	c.within("tilt_deg", s.TiltDeg, 0, 90, "°")
	c.within("cure_c", s.CureC, -20, 200, "°C")
	c.within("casting_g", s.CastingG, 1e-3, 1e6, "g")
	c.within("predicted_g", s.PredictedG, 1e-3, 1e6, "g")
	if !slices.Contains([]Outcome{Good, Mended, Scrap, Pending}, s.Outcome) {
		c.bad("outcome", fmt.Sprintf("%q is not known", s.Outcome), "use good, mended, scrap or pending")
	}
	for _, t := range []struct {
		field string
		t     *time.Time
	}{{"closed_at", s.ClosedAt}, {"demoulded_at", s.DemouldedAt}} {
		if t.t != nil && t.t.Before(s.PouredAt) {
			c.bad(t.field, "it is before the pour", "check both times")
		}
	}
	for _, d := range s.Defects {
		if !slices.ContainsFunc(Defects, func(k DefectKind) bool { return k.Code == d.Code }) {
			c.bad("defect", fmt.Sprintf("%q is not known", d.Code), "use one of: "+strings.Join(defectCodes(), ", "))
		}
	}
	return c.done()
}

func (p *Photo) check() error {
	c := &checker{r: p}
	c.need("shot", p.Shot, "name the casting")
	if !validSum(p.SHA256) || p.Bytes <= 0 {
		c.bad("sha256", "the photo is not kept yet", "keep it first with KeepPhoto, and add what that returns")
	}
	return c.done()
}
