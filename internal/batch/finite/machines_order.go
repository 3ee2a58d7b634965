package finite

// order is a sequence of operations on every machine, with the times that follow from it.
type order struct {
	f        *flat
	mp, ms   []int   // before and after on the machine, n for none
	r, q     []int64 // head: earliest start; tail: longest way from the end of the operation to the end of all
	topo     []int
	makespan int64
	waiting  []int8 // scratch of times
}

func newOrder(f *flat) *order {
	return &order{f: f, mp: make([]int, f.n+1), ms: make([]int, f.n+1), r: make([]int64, f.n+1),
		q: make([]int64, f.n+1), topo: make([]int, 0, f.n), waiting: make([]int8, f.n+1)}
}

// sequence sets the machine sequences to those of a list of all operations that respects the jobs.
func (o *order) sequence(list []int) {
	n := o.f.n
	last := make([]int, o.f.machines)
	for m := range last {
		last[m] = n
	}
	o.mp[n], o.ms[n] = n, n
	for _, i := range list {
		m := o.f.mach[i]
		o.mp[i], o.ms[i] = last[m], n
		if last[m] != n {
			o.ms[last[m]] = i
		}
		last[m] = i
	}
}

// times works out heads, tails and makespan; false means that the sequences chase each other.
func (o *order) times() bool {
	f, n := o.f, o.f.n
	p, jp, js, mp, ms, r, q := f.p, f.jp, f.js, o.mp, o.ms, o.r, o.q
	topo := o.topo[:0]
	for i := range n {
		w := int8(0)
		if jp[i] != n {
			w++
		}
		if mp[i] != n {
			w++
		}
		if o.waiting[i] = w; w == 0 {
			topo = append(topo, i)
		}
	}
	var end int64
	for k := 0; k < len(topo); k++ {
		i := topo[k]
		r[i] = max(r[jp[i]]+p[jp[i]], r[mp[i]]+p[mp[i]])
		end = max(end, r[i]+p[i])
		if s := js[i]; s != n {
			if o.waiting[s]--; o.waiting[s] == 0 {
				topo = append(topo, s)
			}
		}
		if s := ms[i]; s != n {
			if o.waiting[s]--; o.waiting[s] == 0 {
				topo = append(topo, s)
			}
		}
	}
	o.topo = topo
	if len(topo) < n {
		return false
	}
	for k := n - 1; k >= 0; k-- {
		i := topo[k]
		q[i] = max(q[js[i]]+p[js[i]], q[ms[i]]+p[ms[i]])
	}
	o.makespan = end
	return true
}

// after moves u to just after v, which follows it on the same machine.
func (o *order) after(u, v int) {
	n := o.f.n
	a, b := o.mp[u], o.ms[u]
	o.link(a, b)
	c := o.ms[v]
	o.link(v, u)
	o.link(u, c)
	o.mp[n], o.ms[n] = n, n
}

// before moves v to just before u, which precedes it on the same machine.
func (o *order) before(v, u int) {
	n := o.f.n
	a, b := o.mp[v], o.ms[v]
	o.link(a, b)
	c := o.mp[u]
	o.link(c, v)
	o.link(v, u)
	o.mp[n], o.ms[n] = n, n
}

func (o *order) link(a, b int) { o.ms[a], o.mp[b] = b, a }
