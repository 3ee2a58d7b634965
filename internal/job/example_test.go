package job_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// A job from a part to its mould: a pyramid of 20 mm, which opens along its axis.
func ExampleRun() {
	dir, err := os.MkdirTemp("", "job")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	part := filepath.Join(dir, "pyramid.stl")
	pyramid := &mesh.Mesh{
		Verts: []r3.Vec{{X: -10, Y: -10}, {X: 10, Y: -10}, {X: 10, Y: 10}, {X: -10, Y: 10}, {Z: 20}},
		Tris:  [][3]uint32{{0, 2, 1}, {0, 3, 2}, {0, 1, 4}, {1, 2, 4}, {2, 3, 4}, {3, 0, 4}},
	}
	if err := meshfile.Save(part, &mesh.Model{Unit: mesh.Millimetre, Objects: []mesh.Object{{Mesh: pyramid}}}); err != nil {
		fmt.Println(err)
		return
	}
	folder := filepath.Join(dir, "pyramid")
	if err := job.Create(folder, part, job.CreateOptions{Material: "pu-rigid"}); err != nil {
		fmt.Println(err)
		return
	}
	rep, err := job.Run(context.Background(), folder, job.RunOptions{})
	var refused *job.Refusal
	if errors.As(err, &refused) {
		fmt.Println("refused:", refused.Report.Reasons[0].Words)
		return
	}
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f mL of part\n", rep.Part.VolumeMM3/1000)
	for _, p := range rep.Mould.Pieces {
		fmt.Println(p.Name, "leaves along z:", p.Exit[2])
	}
	// Output:
	// 2.667 mL of part
	// lower half leaves along z: -1
	// upper half leaves along z: 1
}
