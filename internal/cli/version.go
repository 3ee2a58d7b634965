package cli

import (
	"fmt"
	"io"

	"mouldwright/internal/buildinfo"
)

type versionCmd struct{}

func (versionCmd) Run(s *session) error {
	v := struct {
		Name    string `json:"name"`
		Version string `json:"version"`
		Sources string `json:"sources"` // builds that compute the same bear the same
	}{"mouldwright", s.env.Version, buildinfo.Mark()}
	return s.result(v, func(w io.Writer) { fmt.Fprintf(w, "%s %s (sources %s)\n", v.Name, v.Version, v.Sources) })
}
