package batch

import (
	"sort"
	"strings"
)

// block is hand work on one load without a pause, as a person would name it.
type block struct {
	Load     string
	What     string // "prepare", "cast", "take out", "trim"
	From, To int64
	Steps    []Step
}

// workOf groups the kinds of steps.
var workOf = map[string]string{
	stepCoat: "prepare", stepPurge: "cast", stepMix: "cast", stepDegas: "cast", stepPour: "cast", stepClose: "cast", stepLoad: "cast",
	stepUnload: "take out", stepDemould: "take out", stepTrim: "trim",
}

// blocks joins hand steps that follow each other within pauseS into blocks, each in time order.
func (p *Plan) blocks(pauseS int64) []block {
	var out []block
	open := map[string]int{}
	for _, st := range p.Steps {
		what := workOf[st.Kind]
		if !st.ByHand && st.Kind != stepDegas {
			continue
		}
		key := st.Load + what
		if k, ok := open[key]; ok && st.StartS-out[k].To <= pauseS {
			out[k].To = max(out[k].To, st.EndS)
			out[k].Steps = append(out[k].Steps, st)
			continue
		}
		open[key] = len(out)
		out = append(out, block{st.Load, what, st.StartS, st.EndS, []Step{st}})
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].From < out[b].From })
	return out
}

// moulds lists the moulds of steps once each, in order.
func moulds(steps []Step) string {
	var out []string
	seen := map[string]bool{}
	for _, s := range steps {
		if s.Mould != "" && !seen[s.Mould] {
			seen[s.Mould] = true
			out = append(out, s.Mould)
		}
	}
	return shortList(out)
}

// shortList says a common beginning once: "Foot ring mould 1, 2, 3".
func shortList(names []string) string {
	if len(names) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString(names[0])
	last := names[0]
	for _, n := range names[1:] {
		b.WriteString(", ")
		i := strings.LastIndex(n, " ")
		if k := strings.LastIndex(last, " "); i > 0 && k == i && last[:k] == n[:i] {
			b.WriteString(n[i+1:])
		} else {
			b.WriteString(n)
		}
		last = n
	}
	return b.String()
}
