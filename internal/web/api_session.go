package web

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humachi"
)

type sessionIn struct {
	request *http.Request
	Body    struct {
		Token string `json:"token" maxLength:"500"`
	}
}

// Resolve implements huma.Resolver.
func (in *sessionIn) Resolve(c huma.Context) []error {
	in.request, _ = humachi.Unwrap(c)
	return nil
}

type sessionOut struct {
	SetCookie http.Cookie `header:"Set-Cookie"`
}

type health struct {
	Version string `json:"version"`
	Token   bool   `json:"token_needed"`
}

func (s *Server) sessionRoutes(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "health", Method: http.MethodGet, Path: "/api/health", Summary: "Whether the server answers, and whether it asks for a token"},
		func(context.Context, *struct{}) (*body[health], error) {
			return &body[health]{health{s.opt.Version, s.users.token != ""}}, nil
		})
	huma.Register(api, huma.Operation{OperationID: "signIn", Method: http.MethodPost, Path: "/api/session", Summary: "Trade the token for a cookie", DefaultStatus: http.StatusNoContent},
		func(ctx context.Context, in *sessionIn) (*sessionOut, error) {
			switch s.guard.guesses.try(in.request, func() bool { return s.users.token != "" && s.users.right(in.Body.Token) }) {
			case guessedOften:
				return nil, huma.ErrorWithHeaders(problem(http.StatusTooManyRequests, tooManyGuesses), http.Header{"Retry-After": {"5"}})
			case wrongToken:
				return nil, problem(http.StatusUnauthorized, "that is not this server's token")
			}
			return &sessionOut{s.users.cookie()}, nil
		})
}
