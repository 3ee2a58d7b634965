package cli

import (
	"fmt"
	"io"
)

type versionCmd struct{}

func (versionCmd) Run(s *session) error {
	v := struct {
		Name    string `json:"name"`
		Version string `json:"version"`
	}{"mouldwright", s.env.Version}
	return s.result(v, func(w io.Writer) { fmt.Fprintln(w, v.Name, v.Version) })
}
