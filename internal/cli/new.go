package cli

import (
	"fmt"
	"io"

	"mouldwright/internal/mesh"
)

type newCmd struct {
	Folder     string   `arg:"" help:"The folder to make."`
	Part       string   `arg:"" help:"The part: STL, 3MF, OBJ or PLY."`
	Name       string   `placeholder:"NAME" help:"What the part is called; left out: the file's name."`
	Unit       string   `placeholder:"UNIT" help:"The unit of the file's numbers: mm, micron, cm, m, inch, foot; left out: the file's own, or mm."`
	Object     string   `placeholder:"NAME" help:"Which object, when the file holds several: its name, or #2 for the second."`
	Material   string   `placeholder:"ID" help:"What to cast, from: material list; left out: pu-flexible."`
	ShowColour []string `placeholder:"#RRGGBB" help:"Facets of this colour are show faces. May be given again."`
}

func (c newCmd) Run(s *session) error {
	jobs, err := s.jobs()
	if err != nil {
		return err
	}
	if c.Unit != "" {
		if _, err := mesh.UnitNamed(c.Unit); err != nil {
			return fmt.Errorf("--unit: %w", err)
		}
	}
	opt := JobOptions{Name: c.Name, Unit: c.Unit, Object: c.Object, Material: c.Material, ShowColours: c.ShowColour}
	if err := jobs.Create(c.Folder, c.Part, opt); err != nil {
		return err
	}
	v := struct {
		Folder string `json:"folder"`
	}{c.Folder}
	err = s.result(v, func(w io.Writer) { fmt.Fprintf(w, "Made %s with job.toml and the part.\n", c.Folder) })
	if err == nil {
		s.hint("look over the decisions in job.toml in that folder, then: mouldwright run %s", c.Folder)
	}
	return err
}
