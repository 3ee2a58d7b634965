// Command compare answers the same visibility question with our direction search and with Embree
// (visibility.cc in bench/embree), in one run, and prints both times, their ratio and how far the
// answers agree.
package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"

	"mouldwright/bench/visibility"
	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

func main() {
	facets := flag.Int("facets", 100_000, "facets of the part")
	name := flag.String("part", "ring", "the part: ring or pebble")
	dirs := flag.Int("directions", 1000, "directions asked")
	rounds := flag.Int("rounds", 3, "times both are run; the best of each counts")
	program := flag.String("embree", "", "the built visibility program")
	flag.Parse()
	part, ok := visibility.Parts[*name]
	if !ok {
		fmt.Fprintf(os.Stderr, "compare: no part %q; there are ring and pebble\n", *name)
		os.Exit(2)
	}
	if err := compare(part(*facets), *dirs, *rounds, *program); err != nil {
		fmt.Fprintln(os.Stderr, "compare:", err)
		os.Exit(1)
	}
}

func compare(m *mesh.Mesh, nDirs, rounds int, program string) error {
	tmp, err := os.MkdirTemp("", "visibility")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tmp)
	dirs := visibility.Directions(nDirs)
	t := time.Now()
	s, err := mouldability.NewSearcher(m, nil)
	if err != nil {
		return err
	}
	fmt.Printf("ours    build %.3f s\n", time.Since(t).Seconds())
	// Embree gets the facets in our order: neighbours next to each other, so its packets stay
	// together, and the two answers compare bit by bit.
	order := s.Order()
	in := filepath.Join(tmp, "mesh")
	if err := write(in, m, order, dirs); err != nil {
		return err
	}
	rank := make([]int, len(order))
	for i, f := range order {
		rank[f] = i
	}
	ours, theirs := never, never
	var ourBits, theirBits []byte
	for range rounds {
		sec, bits, err := runOurs(s, dirs, rank)
		if err != nil {
			return err
		}
		ours, ourBits = ours.least(sec), bits
		sec, bits, words, err := runEmbree(program, in, filepath.Join(tmp, "answer"))
		if err != nil {
			return err
		}
		if theirs == never {
			fmt.Print(words)
		}
		theirs, theirBits = theirs.least(sec), bits
	}
	report(len(m.Tris), nDirs, ours, theirs)
	agree(m, order, dirs, ourBits, theirBits)
	return nil
}

// spent is time by the clock and of all processors, in seconds; on a busy machine the second is the
// fair one.
type spent struct{ wall, cpu float64 }

var never = spent{math.Inf(1), math.Inf(1)}

func (s spent) least(o spent) spent { return spent{min(s.wall, o.wall), min(s.cpu, o.cpu)} }

func processorSeconds() float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return math.NaN()
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) * 1e-9
}

func report(facets, dirs int, ours, theirs spent) {
	rays := float64(facets) * float64(dirs)
	for _, r := range []struct {
		who string
		spent
	}{{"ours", ours}, {"embree", theirs}} {
		fmt.Printf("%-7s %.3f s by the clock, %.3f s of processor, %.1f ns of processor a facet\n", r.who, r.wall, r.cpu, r.cpu*1e9/rays)
	}
	fmt.Printf("ratio   %.3f by the clock, %.3f of processor (ours / Embree, %d threads each)\n",
		ours.wall/theirs.wall, ours.cpu/theirs.cpu, runtime.GOMAXPROCS(0))
}

// grazing is the sine of 3°: within it a ray runs so nearly along its own facet that float32 can't
// say on which side of the facet it is.
const grazing = 0.05

// agree counts where the answers differ, how much of that is grazing rays, and with whom a ray in
// float64 agrees.
func agree(m *mesh.Mesh, order []int32, dirs []r3.Vec, a, b []byte) {
	var both, onlyOurs, onlyTheirs, graze, right int
	exact := geom.NewBVH(m.Verts, m.Tris)
	start := float64(mouldability.RayStartMM(m))
	width := (len(order) + 7) / 8
	for i, d := range dirs {
		for r, f := range order {
			at, bit := i*width+r>>3, byte(1)<<(r&7)
			x, y := a[at]&bit != 0, b[at]&bit != 0
			switch {
			case x && y:
				both++
				continue
			case x:
				onlyOurs++
			case y:
				onlyTheirs++
			default:
				continue
			}
			nz := r3.Dot(r3.Unit(m.Facet(int(f)).Normal()), d)
			if math.Abs(nz) < grazing {
				graze++
			}
			out := r3.Scale(math.Copysign(1, nz), d)
			if exact.AnyHit(m.Facet(int(f)).Centroid(), out, start, math.Inf(1)) == x {
				right++
			}
		}
	}
	off := onlyOurs + onlyTheirs
	fmt.Printf("caught  %d by both, %d by ours alone, %d by Embree alone: %.5f %% agree\n",
		both, onlyOurs, onlyTheirs, 100*(1-float64(off)/float64(len(order)*len(dirs))))
	fmt.Printf("graze   %d of the %d that differ lie within 3° of the direction\n", graze, off)
	fmt.Printf("float64 rays side with ours in %d of the %d\n", right, off)
}

func runOurs(s *mouldability.Searcher, dirs []r3.Vec, rank []int) (spent, []byte, error) {
	// Two passes: the timed one keeps nothing, as the search does; the other gathers the bits.
	t, cpu := time.Now(), processorSeconds()
	if err := s.Caught(context.Background(), dirs, 0, func(int, []bool) {}); err != nil {
		return never, nil, err
	}
	sec := spent{time.Since(t).Seconds(), processorSeconds() - cpu}
	width := (len(rank) + 7) / 8
	bits := make([]byte, width*len(dirs))
	err := s.Caught(context.Background(), dirs, 0, func(i int, caught []bool) {
		row := bits[i*width:]
		for r, c := range caught {
			if c {
				row[r>>3] |= 1 << (r & 7)
			}
		}
	})
	return sec, bits, err
}

func runEmbree(program, in, out string) (sec spent, bits []byte, words string, err error) {
	cmd := exec.Command(program, in, strconv.Itoa(runtime.GOMAXPROCS(0)), out)
	cmd.Stderr = os.Stderr
	text, err := cmd.Output()
	if err != nil {
		return never, nil, "", fmt.Errorf("%s: %w", program, err)
	}
	for line := range strings.Lines(string(text)) {
		words += "embree  " + line
		for prefix, to := range map[string]*float64{"seconds ": &sec.wall, "processor ": &sec.cpu} {
			if v, ok := strings.CutPrefix(line, prefix); ok {
				if *to, err = strconv.ParseFloat(strings.TrimSpace(v), 64); err != nil {
					return never, nil, "", err
				}
			}
		}
	}
	bits, err = os.ReadFile(out)
	return sec, bits, words, err
}

// write stores mesh and directions as visibility.cc reads them.
func write(path string, m *mesh.Mesh, order []int32, dirs []r3.Vec) error {
	b := m.Bounds()
	centre := r3.Scale(0.5, r3.Add(b.Min, b.Max))
	var buf bytes.Buffer
	put := func(v any) { binary.Write(&buf, binary.LittleEndian, v) } // a bytes.Buffer takes all
	vec := func(v r3.Vec) { put([3]float32{float32(v.X), float32(v.Y), float32(v.Z)}) }
	put([3]uint32{uint32(len(m.Verts)), uint32(len(m.Tris)), uint32(len(dirs))})
	put([2]float32{mouldability.WallSine(), mouldability.RayStartMM(m)})
	for _, v := range m.Verts {
		vec(r3.Sub(v, centre))
	}
	for _, f := range order {
		put(m.Tris[f])
	}
	for _, f := range order {
		vec(r3.Sub(m.Facet(int(f)).Centroid(), centre))
	}
	for _, f := range order {
		vec(r3.Unit(m.Facet(int(f)).Normal()))
	}
	for _, d := range dirs {
		vec(d)
	}
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(file)
	if _, err := buf.WriteTo(w); err != nil {
		return err
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return file.Close()
}
