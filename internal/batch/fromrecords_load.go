package batch

import (
	"fmt"
	"slices"
	"sort"
	"strings"
)

// pouredLoad is a load of the last plan with those of its shots that were poured.
type pouredLoad struct {
	plan  LoadPlan
	shots [][]pouredShot // of each mix, by their pour
	inS   int64          // when it went into the pot; far if it did not
}

type pouredShot struct {
	was, mould string // was is the start of its steps' ids in the last plan
	filling
}

// stepsOf is what the ids of the steps of a mix's shot begin with.
func stepsOf(load, mix string, shot int) string { return fmt.Sprintf("%s/%s/S%d/", load, mix, shot+1) }

// history is the last plan with the loads that were begun cut to what was poured, and when each of
// their steps must have been.
func (k *recordReader) history() (*History, error) {
	var begun []*pouredLoad
	plan := *k.last
	plan.Loads, plan.Steps = nil, nil
	var rest []LoadPlan
	for _, lp := range k.last.Loads {
		if pl := k.cut(lp); pl != nil {
			begun = append(begun, pl)
		} else {
			rest = append(rest, lp)
		}
	}
	sort.SliceStable(begun, func(i, j int) bool { return begun[i].shots[0][0].atS < begun[j].shots[0][0].atS })
	h := &History{NowS: max(0, k.nowS), Plan: &plan, Followed: k.last}
	for _, pl := range begun {
		plan.Loads = append(plan.Loads, pl.plan)
	}
	plan.Loads = append(plan.Loads, rest...)
	plan.Steps = k.renamed(begun)
	t := &recordTimes{k: k, h: h, seconds: map[string]int64{}}
	for _, s := range plan.Steps {
		t.seconds[s.ID] = 0
		if s.ByHand {
			t.seconds[s.ID] = s.EndS - s.StartS
		}
	}
	for _, pl := range begun {
		if err := t.pour(pl); err != nil {
			return nil, err
		}
	}
	t.open(begun)
	for _, s := range h.Steps { // what is being done is finished first
		h.NowS = max(h.NowS, s.StartS+t.seconds[s.ID])
	}
	return h, nil
}

// cut leaves of a load what was poured, in the order it was; nil if that is nothing.
func (k *recordReader) cut(lp LoadPlan) *pouredLoad {
	pl := &pouredLoad{plan: LoadPlan{Name: lp.Name}, inS: far}
	order := map[string]int64{}
	shots := map[string][]pouredShot{}
	for _, mp := range lp.Mixes {
		var poured []pouredShot
		for s, mould := range mp.Moulds {
			was := stepsOf(lp.Name, mp.Name, s)
			if f, ok := k.poured[was+stepPour]; ok {
				poured = append(poured, pouredShot{was, mould, f})
			}
		}
		if len(poured) == 0 {
			continue
		}
		sort.SliceStable(poured, func(i, j int) bool { return poured[i].atS < poured[j].atS })
		mp.Moulds = nil
		for _, s := range poured {
			mp.Moulds = append(mp.Moulds, s.mould)
		}
		pl.plan.Mixes = append(pl.plan.Mixes, mp)
		order[mp.Name], shots[mp.Name] = poured[0].atS, poured
	}
	if len(pl.plan.Mixes) == 0 {
		return nil
	}
	sort.SliceStable(pl.plan.Mixes, func(i, j int) bool { return order[pl.plan.Mixes[i].Name] < order[pl.plan.Mixes[j].Name] })
	for _, mp := range pl.plan.Mixes {
		pl.shots = append(pl.shots, shots[mp.Name])
	}
	return pl
}

// renamed lists the last plan's steps, those of shots that were not poured left out and the others
// numbered by the order of the pours.
func (k *recordReader) renamed(begun []*pouredLoad) (out []Step) {
	names, mixes, loads := map[string]string{}, map[string]bool{}, map[string]bool{}
	for _, pl := range begun {
		loads[pl.plan.Name] = true
		for i, mp := range pl.plan.Mixes {
			mixes[mp.Name] = true
			for s, shot := range pl.shots[i] {
				names[shot.was] = stepsOf(pl.plan.Name, mp.Name, s)
			}
		}
	}
	for _, st := range k.last.Steps {
		switch {
		case !loads[st.Load]:
		case st.Mould != "":
			parts := strings.SplitAfterN(st.ID, "/", 4)
			was := strings.Join(parts[:min(3, len(parts))], "")
			now, ok := names[was]
			if !ok {
				continue
			}
			st.ID = now + strings.TrimPrefix(st.ID, was)
		case st.Mix != "" && !mixes[st.Mix]:
			continue
		}
		out = append(out, st)
	}
	return out
}

// recordTimes sets when the steps of what was poured were. The records have the pour, and at times the
// closing and the demoulding; what must have come between is put where the limits of the recipe allow
// it, since a plan is not to fail on a note that was made a little late.
type recordTimes struct {
	k       *recordReader
	h       *History
	seconds map[string]int64 // by hand, of each step that the plan has
}

func (t *recordTimes) add(id string, atS int64, scrap bool) {
	if _, ok := t.seconds[id]; ok && atS <= t.h.NowS {
		t.h.Steps = append(t.h.Steps, Happened{id, max(0, atS), scrap})
	}
}

func (t *recordTimes) recipe(version string) (*Recipe, error) {
	v := t.k.b.version(version)
	if v < 0 {
		return nil, fmt.Errorf("the plan that was followed has the version %q, which batch.toml no longer has; put it back", version)
	}
	return &t.k.b.Recipes[t.k.b.Versions[v].Recipe], nil
}

// pour sets the steps from the coat to the pot.
func (t *recordTimes) pour(pl *pouredLoad) error {
	potS, loadS, latest := int64(0), int64(0), far
	pressed := false
	for i, mp := range pl.plan.Mixes {
		r, err := t.recipe(mp.Version)
		if err != nil {
			return err
		}
		degasS := r.DegasS
		if t.k.b.Vacuum == nil {
			degasS = 0
		}
		id := pl.plan.Name + "/" + mp.Name + "/"
		mixEnd := max(pl.shots[i][0].atS-degasS, r.MixS)
		t.add(id+stepPurge, mixEnd-r.MixS-t.k.b.Mixing.PurgeS, false)
		t.add(id+stepMix, mixEnd-r.MixS, false)
		t.add(id+stepDegas, mixEnd, false)
		for s, shot := range pl.shots[i] {
			id := stepsOf(pl.plan.Name, mp.Name, s)
			closeS := shot.atS + r.PourS
			if shot.closedS != nil {
				closeS = max(shot.atS, *shot.closedS-r.CloseS)
			}
			closeS = min(closeS, mixEnd-r.MixS+r.PotLifeS-r.CloseS)
			t.add(id+stepCoat, shot.atS-r.DryS-r.CoatS, false)
			t.add(id+stepPour, shot.atS, shot.isScrap())
			t.add(id+stepClose, closeS, false)
			potS = max(potS, closeS+r.CloseS)
		}
		if r.PressureS > 0 {
			pressed, loadS = true, max(loadS, r.LoadS)
		}
		latest = min(latest, mixEnd-r.MixS+r.PotLifeS)
	}
	if at := min(potS, latest-loadS); pressed && at <= t.h.NowS {
		pl.inS = at
		t.add(pl.plan.Name+"/"+stepLoad, at, false)
		t.add(pl.plan.Name+"/"+stepPress, at+loadS, false)
	}
	return nil
}

// open sets the steps from the pot to the trimmed part. A pot that another load went into had been
// emptied, and so had a mould that was filled again.
func (t *recordTimes) open(begun []*pouredLoad) {
	var inPot []*pouredLoad
	for _, pl := range begun {
		if pl.inS < far {
			inPot = append(inPot, pl)
		}
	}
	sort.SliceStable(inPot, func(i, j int) bool { return inPot[i].inS < inPot[j].inS })
	for _, pl := range begun {
		out := t.demould(pl)
		if t.k.b.Pot == nil || pl.inS == far {
			continue
		}
		var loadS, pressS, unloadS int64
		for _, mp := range pl.plan.Mixes {
			r, _ := t.recipe(mp.Version) // pour has found it
			loadS, pressS, unloadS = max(loadS, r.LoadS), max(pressS, r.PressureS), max(unloadS, r.UnloadS)
		}
		if n := slices.Index(inPot, pl) + t.k.b.Pot.Count; n < len(inPot) {
			out = min(out, inPot[n].inS, pl.inS+loadS+pressS+unloadS)
		}
		if out < far {
			t.add(pl.plan.Name+"/"+stepUnload, max(pl.inS, min(out-unloadS, pl.inS+loadS+pressS)), false)
		}
	}
}

// demould sets the demoulding of a load's shots and the trimming of their parts; it returns when the
// first was, far if none.
func (t *recordTimes) demould(pl *pouredLoad) (first int64) {
	first = far
	for i, mp := range pl.plan.Mixes {
		r, _ := t.recipe(mp.Version) // pour has found it
		tool := &t.k.b.Tools[t.k.b.Versions[t.k.b.version(mp.Version)].Tool]
		for s, shot := range pl.shots[i] {
			if shot.outS == nil && !shot.isDecided() && shot.nextS == far {
				continue
			}
			at := min(shot.atS+r.PourS+r.CureS, t.h.NowS-r.DemouldS-r.TrimS, shot.nextS-r.DryS-r.CoatS-r.DemouldS)
			if shot.outS != nil {
				at = min(*shot.outS, t.h.NowS) - r.DemouldS // the note says when it was out
			}
			at = max(at, shot.atS)
			first = min(first, at)
			id := stepsOf(pl.plan.Name, mp.Name, s)
			t.add(id+stepDemould, at, false)
			for p := range tool.Cavities {
				if shot.isDecided() {
					t.add(fmt.Sprintf("%s%s/P%d", id, stepTrim, p+1), min(at+r.DemouldS, t.h.NowS-r.TrimS), false)
				}
			}
		}
	}
	return first
}
