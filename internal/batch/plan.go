package batch

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sort"

	"mouldwright/internal/batch/finite"
)

// Plan is a schedule of the batch.
type Plan struct {
	Name      string     `json:"name"`
	Start     string     `json:"start"` // the day that second 0 begins, year-month-day
	Loads     []LoadPlan `json:"loads"`
	Steps     []Step     `json:"steps"` // by start
	EndS      int64      `json:"end_s"`
	BoundS    int64      `json:"lower_bound_s"` // no plan of the whole demand ends sooner
	Versions  []Done     `json:"versions"`
	Orders    []OrderEnd `json:"orders,omitempty"`
	Late      []Finding  `json:"late,omitempty"`  // dates that this plan misses; not proven to be impossible
	Overnight int        `json:"overnight_shots"` // shots that cure while nobody is there
	NowS      int64      `json:"now_s"`           // re-planned from here; 0 for a first plan
	Schedules int        `json:"schedules_tried"`
}

// LoadPlan is one load with its mixes.
type LoadPlan struct {
	Name  string    `json:"name"`
	Mixes []MixPlan `json:"mixes"`
	InPot []InPot   `json:"in_pot,omitempty"` // Box counts the shots of the load in order
}

// MixPlan is one cup.
type MixPlan struct {
	Name    string   `json:"name"`
	Version string   `json:"version"`
	MassG   float64  `json:"mass_g"`
	Moulds  []string `json:"moulds"` // one a shot
}

// Step is one piece of work.
type Step struct {
	ID      string `json:"id"` // load/mix/shot/kind, such as L3/M4/S2/pour
	Kind    string `json:"kind"`
	Load    string `json:"load"`
	Mix     string `json:"mix,omitempty"`
	Version string `json:"version,omitempty"`
	Mould   string `json:"mould,omitempty"`
	Part    int    `json:"part,omitempty"` // of a shot, when trimming
	StartS  int64  `json:"start_s"`
	EndS    int64  `json:"end_s"`
	ByHand  bool   `json:"by_hand"`
	By      string `json:"by,omitempty"` // who does it, of hand work still to come
	Done    bool   `json:"happened,omitempty"`
	Scrap   bool   `json:"scrap,omitempty"` // the shot gives no good part
}

// Done is when a version is ready.
type Done struct {
	Version string `json:"version"`
	Parts   int    `json:"parts"`
	Shots   int    `json:"shots"`
	ReadyS  int64  `json:"ready_s"`
}

// OrderEnd is when all of an order is ready.
type OrderEnd struct {
	Order  string `json:"order"`
	ReadyS int64  `json:"ready_s"`
	LateS  int64  `json:"late_s"` // of its latest version; 0: none is late
}

// orders sums the versions up by order.
func (b *Bench) orders(p *Plan) (out []OrderEnd) {
	at := map[string]int{}
	for v, d := range p.Versions {
		ver := &b.Versions[v]
		if ver.Order == "" {
			continue
		}
		k, ok := at[ver.Order]
		if !ok {
			k = len(out)
			at[ver.Order] = k
			out = append(out, OrderEnd{Order: ver.Order})
		}
		out[k].ReadyS = max(out[k].ReadyS, d.ReadyS)
		if ver.Due != nil {
			out[k].LateS = max(out[k].LateS, d.ReadyS-*ver.Due)
		}
	}
	return out
}

// Gap is how much later the plan ends than the bound, as a share of the bound.
func (p *Plan) Gap() float64 {
	if p.BoundS == 0 {
		return 0
	}
	return float64(p.EndS-p.BoundS) / float64(p.BoundS)
}

// boundWords says how good the plan is.
func (b *Bench) boundWords(p *Plan) string {
	if p.BoundS == 0 {
		return fmt.Sprintf("Planned anew from %s.", b.Clock(p.NowS))
	}
	return fmt.Sprintf("No plan on this bench is done before %s (proven): this one is at most %.1f %% longer than the best.", b.Clock(p.BoundS), 100*p.Gap())
}

// Make plans the batch, and checks the plan before it gives it. A demand that is proven to be
// impossible gives a *Refusal.
func Make(ctx context.Context, b *Bench, opt Options) (*Plan, error) {
	h := b.hours()
	l, err := b.findLimits(h)
	if err != nil {
		return nil, err
	}
	bound := b.LowerBound()
	if err := b.provenLate(bound, h); err != nil && opt.Before == nil {
		return nil, err
	}
	m := newModel(b)
	s := &searcher{ctx: ctx, m: m, l: l, history: opt.Before, bound: bound, rng: rand.New(rand.NewPCG(opt.Seed, 0x6261746368)), fits: map[string]bool{}}
	for v := range b.Versions {
		s.want = append(s.want, b.Shots(v))
	}
	if opt.Before != nil {
		m.now = opt.Before.NowS
		if err := opt.Before.prepare(m, s.want); err != nil {
			return nil, err
		}
		s.last = newLastLoads(m, opt.Before)
	}
	got, err := s.search(ctx, opt)
	if got == nil {
		return nil, fmt.Errorf("plan %q: %w", b.Name, err)
	}
	if err := finite.Verify(m.shop, got.schedule.Placed()); err != nil {
		return nil, fmt.Errorf("plan %q: the schedule fails its check: %w", b.Name, err)
	}
	p := b.plan(s, got)
	p.Schedules = s.builds
	if opt.Before == nil { // what happened need not have kept the shifts and times that the bound rests on
		p.BoundS = bound
	}
	if err := b.assign(p); err != nil {
		return nil, fmt.Errorf("plan %q: %w", b.Name, err)
	}
	if err := Verify(b, p); err != nil {
		return nil, fmt.Errorf("plan %q fails its check: %w", b.Name, err)
	}
	return p, err
}

// provenLate refuses dates before the bound of what is due by them.
func (b *Bench) provenLate(bound int64, h hours) error {
	var no []Finding
	if bound >= h.horizon {
		no = append(no, Finding{"horizon", b.Name, float64(bound) / float64(day), float64(b.Days), "days",
			fmt.Sprintf("the work does not fit into the %d days of the plan; raise days, or add shifts, operators or moulds", b.Days)})
	}
	for v := range b.Versions {
		ver := &b.Versions[v]
		if ver.Due == nil {
			continue
		}
		only := *b // what is due by then, alone on the bench
		only.Versions = append([]Version(nil), b.Versions...)
		for w := range only.Versions {
			if d := b.Versions[w].Due; d == nil || *d > *ver.Due {
				only.Versions[w].Quantity = 0
			}
		}
		if least := only.LowerBound(); least > *ver.Due {
			no = append(no, Finding{"date", ver.Name, float64(least) / 3600, float64(*ver.Due) / 3600, "h",
				fmt.Sprintf("%q is due %s, and no plan on this bench is done before %s: at least %s too late; more moulds, shifts or operators are needed",
					ver.Name, b.Clock(*ver.Due), b.Clock(least), spell(least-*ver.Due))})
		}
	}
	if len(no) > 0 {
		return &Refusal{no}
	}
	return nil
}

// plan writes a schedule out in the words of the bench.
func (b *Bench) plan(s *searcher, got *built) *Plan {
	p := &Plan{Name: b.Name, Start: b.Start.Format("2006-01-02"), NowS: s.m.now}
	loads := got.loads
	placed := got.schedule.Placed()
	names := s.names(got)
	for k, ld := range loads {
		lp := LoadPlan{Name: names.load(k)}
		var boxes [][3]float64
		held := placed[k].Held
		hold := 0
		pressure := false
		for i, mx := range ld {
			r := s.m.recipe(mx)
			pressure = pressure || r.PressureS > 0
			lp.Mixes = append(lp.Mixes, MixPlan{Name: names.mix(k, i), Version: b.Versions[mx.version].Name, MassG: float64(mx.shots) * r.ShotG})
			for range mx.shots {
				boxes = append(boxes, b.Tools[b.Versions[mx.version].Tool].BoxMM)
			}
		}
		for i, mx := range ld {
			for range mx.shots {
				for !s.m.isMould(held[hold]) {
					hold++
				}
				lp.Mixes[i].Moulds = append(lp.Mixes[i].Moulds, s.m.shop.Resources[held[hold]].Name)
				hold++
			}
		}
		if b.Pot != nil && pressure {
			lp.InPot, _ = b.Pot.Pack(boxes)
		}
		p.Loads = append(p.Loads, lp)
	}
	for k, pl := range placed {
		b.addSteps(p, s, pl, &p.Loads[got.loadOf[k]])
	}
	if s.history != nil {
		s.history.markScrap(p)
	}
	sort.SliceStable(p.Steps, func(i, j int) bool { return p.Steps[i].StartS < p.Steps[j].StartS })
	b.summarise(p)
	p.Orders = b.orders(p)
	return p
}

// namer numbers loads and mixes; what was begun, and what is still to come as the last plan had it, keeps
// its names, so that notes and lists stay right.
type namer struct {
	kept         map[int]*LoadPlan // by load
	loads, mixes int               // the largest numbers so far
}

func (s *searcher) names(got *built) *namer {
	n := &namer{kept: map[int]*LoadPlan{}}
	if s.history == nil {
		return n
	}
	for k := range s.history.Loads {
		n.kept[k] = s.history.Loads[k].plan
	}
	for k, lp := range s.last.match(s, got.schedule) {
		n.kept[k] = lp
	}
	for _, lp := range s.history.Plan.Loads {
		n.loads = max(n.loads, numberOf(lp.Name))
		for _, mp := range lp.Mixes {
			n.mixes = max(n.mixes, numberOf(mp.Name))
		}
	}
	return n
}

func numberOf(name string) (n int) {
	_, _ = fmt.Sscanf(name[min(1, len(name)):], "%d", &n) // 0 if it is no number of ours
	return n
}

func (n *namer) load(k int) string {
	if lp := n.kept[k]; lp != nil {
		return lp.Name
	}
	n.loads++
	return fmt.Sprintf("L%d", n.loads)
}

func (n *namer) mix(k, i int) string {
	if lp := n.kept[k]; lp != nil {
		return lp.Mixes[i].Name
	}
	n.mixes++
	return fmt.Sprintf("M%d", n.mixes)
}

func (m *model) isMould(r int) bool { return len(m.moulds) > 0 && r >= m.moulds[0] }

func (b *Bench) addSteps(p *Plan, s *searcher, pl *finite.Placement, lp *LoadPlan) {
	parts := map[string]int{}
	for k, kind := range s.m.kinds[pl.Job] {
		if pl.Absent[k] || kind.kind == stepPurge && pl.Job.Tasks[k].Seconds == 0 {
			continue
		}
		st := Step{Kind: kind.kind, Load: lp.Name, StartS: pl.Starts[k], EndS: pl.End(k), Done: pl.Job.Tasks[k].Fixed != nil,
			ByHand: kind.kind != stepPress && kind.kind != stepDegas, ID: lp.Name}
		if kind.mix >= 0 {
			mp := &lp.Mixes[kind.mix]
			st.Mix, st.Version = mp.Name, mp.Version
			st.ID += "/" + mp.Name
			if kind.shot >= 0 {
				st.Mould = mp.Moulds[kind.shot]
				st.ID += fmt.Sprintf("/S%d", kind.shot+1)
			}
		}
		st.ID += "/" + kind.kind
		if kind.kind == stepTrim {
			parts[st.ID]++
			st.Part = parts[st.ID]
			st.ID += fmt.Sprintf("/P%d", st.Part)
		}
		p.Steps = append(p.Steps, st)
	}
}

func (b *Bench) summarise(p *Plan) {
	h := b.hours()
	ready, shots := map[string]int64{}, map[string]int{}
	poured := map[string]int64{}
	for _, st := range p.Steps {
		p.EndS = max(p.EndS, st.EndS)
		switch st.Kind {
		case stepTrim:
			ready[st.Version] = max(ready[st.Version], st.EndS)
		case stepPour:
			poured[st.Load+st.Mould] = st.EndS
			shots[st.Version]++
		case stepDemould:
			ready[st.Version] = max(ready[st.Version], st.EndS)
			if h.nightBetween(poured[st.Load+st.Mould], st.StartS) {
				p.Overnight++
			}
		}
	}
	for v := range b.Versions {
		ver := &b.Versions[v]
		d := Done{ver.Name, shots[ver.Name] * b.Tools[ver.Tool].Cavities, shots[ver.Name], ready[ver.Name]}
		p.Versions = append(p.Versions, d)
		if ver.Due != nil && d.ReadyS > *ver.Due {
			p.Late = append(p.Late, Finding{"date", ver.Name, float64(d.ReadyS) / 3600, float64(*ver.Due) / 3600, "h",
				fmt.Sprintf("%q is due %s; this plan has it ready %s, %s late (the best found, not proven to be the best)",
					ver.Name, b.Clock(*ver.Due), b.Clock(d.ReadyS), spell(d.ReadyS-*ver.Due))})
		}
	}
}

// nightBetween says whether midnight lies between two times.
func (h hours) nightBetween(from, to int64) bool { return from/day < to/day }
