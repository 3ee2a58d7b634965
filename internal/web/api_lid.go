package web

import (
	"context"
	"net/http"

	"mouldwright/internal/job"

	"github.com/danielgtaylor/huma/v2"
)

type lidQuestion struct {
	LiquidML float64   `json:"liquid_ml,omitempty" minimum:"0" maximum:"1000000" doc:"Poured into the lower half first; left out: the cavity and both tolerances, or what the half holds"`
	Hinges   []string  `json:"hinges,omitempty" maxItems:"4" doc:"left, right, front, back; left out: all"`
	Angles   []float64 `json:"angles_deg,omitempty" maxItems:"12"`
}

// lidPicture is where the chart of a closing lies, under out/.
const lidPicture = "pictures/lid.svg"

func (s *Server) lidRoutes(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "closeLid", Method: http.MethodPost, Path: "/api/jobs/{job}/lid", Summary: "Close the last run's mould over a lower half that was poured first: edge, angle, trapped air; some seconds", Middlewares: behind(s.long)},
		func(ctx context.Context, in *struct {
			JobPath
			Body lidQuestion
		}) (*body[any], error) {
			folder, err := s.work.folder(in.Job)
			if err != nil {
				return nil, s.asProblem(err)
			}
			q := in.Body
			r, err := job.CloseLid(ctx, folder, job.LidOptions{LiquidML: q.LiquidML, Hinges: q.Hinges, Angles: q.Angles, Pool: s.pool})
			if err != nil {
				return nil, s.asProblem(err)
			}
			r.Picture = lidPicture
			return &body[any]{r}, nil
		})
}
