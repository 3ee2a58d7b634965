package batch

import (
	"fmt"
	"maps"
	"slices"

	"mouldwright/internal/record"
	"mouldwright/internal/steps"
)

// Learn says what of the records changes a plan; the zero value changes nothing, and still shows both.
type Learn struct {
	Times bool // steps take what they took
	Scrap bool // spares by the scrap there was
}

// Learned is what the records say about the work of a recipe's jobs, beside what the plan supposes.
type Learned struct {
	Recipe string      `json:"recipe"`
	Works  []WorkTimes `json:"works"`
	Scrap  []ScrapRate `json:"scrap"`
}

// WorkTimes is how long a kind of work took.
type WorkTimes struct {
	Work       string                   `json:"work"`
	PlannedS   float64                  `json:"planned_s"`
	Taken      record.Spread            `json:"taken_s"`
	IsEnough   bool                     `json:"enough"` // to say anything by
	IsUsed     bool                     `json:"used"`   // the plan takes the median
	ByMould    map[string]record.Spread `json:"by_mould,omitempty"`
	ByOperator map[string]record.Spread `json:"by_operator,omitempty"`
}

// ScrapRate is how much of a tool's castings was scrap.
type ScrapRate struct {
	Tool     string       `json:"tool"`
	Share    record.Share `json:"share"`
	IsEnough bool         `json:"enough"`
	IsUsed   bool         `json:"used"`
}

// learntWorks are the kinds of hand work that can be told apart in a run of signed steps, by the phase that
// the steps are of.
var learntWorks = []struct {
	name   string
	phases []steps.Phase
	of     func(*Recipe) *int64 // what it is in the plan, s
}{
	{"release coat", []steps.Phase{steps.Release}, func(r *Recipe) *int64 { return &r.CoatS }},
	{"weigh and mix", []steps.Phase{steps.Mix}, func(r *Recipe) *int64 { return &r.MixS }},
	{"pour", []steps.Phase{steps.Pour}, func(r *Recipe) *int64 { return &r.PourS }},
	{"demould", []steps.Phase{steps.Open}, func(r *Recipe) *int64 { return &r.DemouldS }},
	{"trim", []steps.Phase{steps.Finish}, func(r *Recipe) *int64 { return &r.TrimS }},
}

// castingStage is the stage of a run's steps that make the casting; earlier ones make the mould.
const castingStage = "casting"

// runWork is how long each work of one run took.
type runWork struct {
	mould, operator string
	seconds         map[string]float64
}

// learn reads times and scrap of every recipe's jobs, and lets them change the bench where it asks for that.
func (k *recordReader) learn() error {
	scrap := map[int]*ScrapRate{}
	for n := range k.b.Recipes {
		rec := &k.b.Recipes[n]
		l := Learned{Recipe: rec.Name}
		var runs []runWork
		for t := range k.b.Tools {
			tool := &k.b.Tools[t]
			if tool.Job == "" || !slices.ContainsFunc(k.b.Versions, func(v Version) bool { return v.Tool == t && v.Recipe == n }) {
				continue
			}
			works, err := k.runWorks(tool.Job)
			if err != nil {
				return err
			}
			runs = append(runs, works...)
			share, err := k.r.ScrapRate(tool.Job)
			if err != nil {
				return err
			}
			if share.Of > 0 {
				s := ScrapRate{Tool: tool.Name, Share: share, IsEnough: share.IsEnough(), IsUsed: k.b.Learn.Scrap && share.IsEnough()}
				l.Scrap = append(l.Scrap, s)
				scrap[t] = &s
			}
		}
		for _, w := range learntWorks {
			if t := workTimes(w.name, runs); t.Taken.N > 0 {
				planned := w.of(rec)
				t.PlannedS, t.IsUsed = float64(*planned), k.b.Learn.Times && t.IsEnough
				if t.IsUsed {
					*planned = max(1, int64(t.Taken.Median+0.5))
				}
				l.Works = append(l.Works, t)
			}
		}
		if len(l.Works)+len(l.Scrap) > 0 {
			k.b.Learned = append(k.b.Learned, l)
		}
	}
	for v := range k.b.Versions {
		if s := scrap[k.b.Versions[v].Tool]; s != nil && s.IsUsed {
			k.b.Versions[v].SparePct = sparesFor(s.Share.Rate)
		}
	}
	return nil
}

// sparesFor is what to cast above the quantity so that it is left after the scrap, in % of the quantity.
func sparesFor(rate float64) float64 {
	const most = 0.8 // above it something is wrong with the mould, not with the number of spares
	rate = min(rate, most)
	return 100 * rate / (1 - rate)
}

// runWorks sums up, run by run, how long each work took. Runs that kept no plan do not tell what a step was of.
func (k *recordReader) runWorks(job string) ([]runWork, error) {
	timed, err := k.r.StepTimes(job)
	if err != nil {
		return nil, err
	}
	phases := map[string]map[string]steps.Phase{}
	runs, err := k.r.Runs()
	if err != nil {
		return nil, err
	}
	for i := range runs {
		plan, err := steps.PlanOf(&runs[i])
		if err != nil || plan == nil || runs[i].Job != job {
			continue // a plan that cannot be read tells nothing, and is said where runs are shown
		}
		of := map[string]steps.Phase{}
		for _, s := range plan.Steps {
			if s.Stage == castingStage && !s.Once {
				of[s.ID] = s.Phase
			}
		}
		phases[runs[i].ID] = of
	}
	var out []runWork
	at := map[string]int{}
	for _, t := range timed {
		for _, w := range learntWorks {
			if !slices.Contains(w.phases, phases[t.Run][t.Step]) {
				continue
			}
			n, ok := at[t.Run]
			if !ok {
				n = len(out)
				at[t.Run] = n
				out = append(out, runWork{t.Mould, t.Operator, map[string]float64{}})
			}
			out[n].seconds[w.name] += t.Seconds
		}
	}
	return out, nil
}

// workTimes sums up one work over runs, in all, by mould and by operator. Parts with too few runs are left out.
func workTimes(work string, runs []runWork) WorkTimes {
	var all []float64
	mould, operator := map[string][]float64{}, map[string][]float64{}
	for _, r := range runs {
		if s, ok := r.seconds[work]; ok {
			all = append(all, s)
			mould[r.mould] = append(mould[r.mould], s)
			operator[r.operator] = append(operator[r.operator], s)
		}
	}
	t := WorkTimes{Work: work, Taken: record.SpreadOf(all), ByMould: enough(mould), ByOperator: enough(operator)}
	t.IsEnough = t.Taken.IsEnough()
	return t
}

func enough(groups map[string][]float64) map[string]record.Spread {
	out := map[string]record.Spread{}
	for name, values := range groups {
		if s := record.SpreadOf(values); s.IsEnough() && name != "" {
			out[name] = s
		}
	}
	return out
}

// learnedWords says what was learned, a line each.
func learnedWords(ls []Learned) (out []string) {
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	used := map[bool]string{true: "; the plan takes it", false: ""}
	for _, l := range ls {
		for _, w := range l.Works {
			if !w.IsEnough {
				add("%s, %s: planned %s; %s is too few to say more.", l.Recipe, w.Work, spell(int64(w.PlannedS)), counted(w.Taken.N, "signed run"))
				continue
			}
			add("%s, %s: planned %s, taken %s (median of %d, between %s and %s with 90 %% confidence; the middle half %s to %s)%s.", l.Recipe, w.Work, spell(int64(w.PlannedS)),
				spell(int64(w.Taken.Median+0.5)), w.Taken.N, spell(int64(w.Taken.Low+0.5)), spell(int64(w.Taken.High+0.5)), spell(int64(w.Taken.Quarter+0.5)), spell(int64(w.Taken.ThreeQuarters+0.5)), used[w.IsUsed])
			for _, of := range []struct {
				what string
				by   map[string]record.Spread
			}{{"mould", w.ByMould}, {"operator", w.ByOperator}} {
				if len(of.by) < 2 {
					continue
				}
				for _, name := range slices.Sorted(maps.Keys(of.by)) {
					s := of.by[name]
					add("  %s %s: %s (%d; %s to %s)", of.what, name, spell(int64(s.Median+0.5)), s.N, spell(int64(s.Low+0.5)), spell(int64(s.High+0.5)))
				}
			}
		}
		for _, s := range l.Scrap {
			if !s.IsEnough {
				add("%s: %d of %d castings were scrap; too few to plan by.", s.Tool, s.Share.Hits, s.Share.Of)
				continue
			}
			add("%s: %d of %d castings were scrap, %.0f %% (%.0f to %.0f %% with 90 %% confidence)%s.", s.Tool, s.Share.Hits, s.Share.Of, 100*s.Share.Rate, 100*s.Share.Low, 100*s.Share.High, used[s.IsUsed])
		}
	}
	return out
}
