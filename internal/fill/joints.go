package fill

// joints lists, for every run of a set of columns, the runs it has an open window to: those of run r are
// joined[start[r]:start[r+1]].
type joints struct {
	start  []int32
	joined []int32
}

// ahead are four of the eight steps to a neighbour: the others lead back.
var ahead = [4][2]int{{1, 0}, {-1, 1}, {0, 1}, {1, 1}}

// joined finds the windows between all runs at once: cheaper than columns.near where each run is asked for
// more than once.
func (c *columns) joined() joints {
	var pairs [][2]int32
	start := make([]int32, len(c.lo)+1)
	for k := range c.nx * c.ny {
		if c.first[k] == c.first[k+1] {
			continue
		}
		i, j := k%c.nx, k/c.nx
		for _, d := range ahead {
			x, y := i+d[0], j+d[1]
			if x < 0 || x >= c.nx || y >= c.ny {
				continue
			}
			q := y*c.nx + x
			// Runs of a column stand one over the other: the lower of two that are looked at is done with first.
			for a, b := c.first[k], c.first[q]; a < c.first[k+1] && b < c.first[q+1]; {
				if c.lo[b] < c.hi[a] && c.lo[a] < c.hi[b] {
					pairs = append(pairs, [2]int32{a, b})
					start[a+1]++
					start[b+1]++
				}
				if c.hi[a] < c.hi[b] {
					a++
				} else {
					b++
				}
			}
		}
	}
	for r := range c.lo {
		start[r+1] += start[r]
	}
	out := joints{start: start, joined: make([]int32, len(pairs)*2)}
	at := append([]int32(nil), start...)
	for _, p := range pairs {
		out.joined[at[p[0]]] = p[1]
		at[p[0]]++
		out.joined[at[p[1]]] = p[0]
		at[p[1]]++
	}
	return out
}

// of are the runs joined to run r.
func (j *joints) of(r int32) []int32 { return j.joined[j.start[r]:j.start[r+1]] }
