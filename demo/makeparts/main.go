// Command makeparts writes the parts of the demo lantern into a folder:
//
//	go run ./demo/makeparts OUTDIR
//
// Each part becomes one 3MF file in mm. Facets of its show faces carry the colour ShowColour, all
// others none.
package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: makeparts OUTDIR")
		os.Exit(2)
	}
	if err := write(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "makeparts:", err)
		os.Exit(1)
	}
}

// write makes the folder if it is missing and puts every part into it.
func write(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("cannot make the folder for the parts: %w", err)
	}
	for _, p := range lantern.Parts() {
		path := filepath.Join(dir, strings.ReplaceAll(p.Name, " ", "-")+".3mf")
		model := &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{p.Object()}}
		if err := meshfile.Save(path, model); err != nil {
			return fmt.Errorf("cannot write the %s: %w", p.Name, err)
		}
		fmt.Printf("%s: %d facets, %.0f mm³\n", path, len(p.Mesh.Tris), p.Mesh.VolumeMM3())
	}
	return nil
}
