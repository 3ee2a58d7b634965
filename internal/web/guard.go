package web

import (
	"context"
	"encoding/json"
	"errors"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// contentPolicy lets the page use what this server sends and nothing else. Styles in attributes and
// scripts in the page are refused too, so injected text stays text.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; font-src 'self'; " +
	"connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'"

// resultPolicy is for files of a job, which hold texts of the maker: even opened on their own they run
// nothing.
const resultPolicy = "default-src 'none'; style-src 'unsafe-inline'; sandbox"

// guard decides who may talk to the server, and how much.
type guard struct {
	hosts    []string // as browsers write them in Host
	anyPort  []string // further names, with any port: a proxy may stand before us
	sessions *sessions
	crossing *http.CrossOriginProtection
	slots    *slots
	heavy    *perClient // what costs processor time or disk
	guesses  *guesses
}

const (
	// A person clicks a few times a second; a script that judges parts one after the other stays under
	// it too.
	heavyPerSecond, heavyBurst = 10, 40
)

func newGuard(addr net.Addr, opt Options, s *sessions) *guard {
	g := &guard{sessions: s, crossing: http.NewCrossOriginProtection(), slots: newSlots(),
		heavy: newPerClient(heavyPerSecond, heavyBurst), guesses: newGuesses()}
	host, port, _ := net.SplitHostPort(addr.String())
	names := []string{host}
	if ip := net.ParseIP(host); ip != nil && ip.IsLoopback() {
		names = append(names, "localhost", "127.0.0.1", "::1")
	}
	if asked, _, err := net.SplitHostPort(opt.Addr); err == nil && asked != "" {
		names = append(names, asked)
	}
	for _, n := range names {
		g.hosts = append(g.hosts, strings.ToLower(net.JoinHostPort(n, port)))
		if port == "80" || port == "443" {
			g.hosts = append(g.hosts, strings.ToLower(n))
		}
	}
	for _, h := range opt.Hosts {
		g.anyPort = append(g.anyPort, strings.ToLower(h))
	}
	return g
}

// goodHost defeats DNS rebinding: a page of another site whose name was made to point here still
// sends its own name.
func (g *guard) goodHost(host string) bool {
	host = strings.ToLower(host)
	if slices.Contains(g.hosts, host) || slices.Contains(g.anyPort, host) {
		return true
	}
	name, _, err := net.SplitHostPort(host)
	return err == nil && slices.Contains(g.anyPort, name)
}

// wrap puts the guard before a handler.
func (g *guard) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler { //nolint:errorlint // the server compares it just so
					panic(p)
				}
				logFault(r, p, debug.Stack())
				refuse(w, http.StatusInternalServerError, "internal fault; the server's own output has the details")
			}
		}()
		status, why := g.judge(r)
		if why != "" {
			if status == http.StatusTooManyRequests {
				h.Set("Retry-After", "5")
			}
			refuse(w, status, why)
			return
		}
		leave, ok := g.slots.enter(g.standing(r), clientOf(r))
		if !ok {
			h.Set("Retry-After", "1")
			refuse(w, http.StatusServiceUnavailable, "too many requests at once; try again in a second")
			return
		}
		defer leave()
		next.ServeHTTP(w, r)
	})
}

// standing is which share of the slots a request takes from. The token has been looked at before.
func (g *guard) standing(r *http.Request) standing {
	switch {
	case r.URL.Path == "/api/health" || r.URL.Path == "/api/session":
		return atTheDoor
	case isAPI(r) || g.sessions.signedIn(r):
		return inside
	}
	return stranger
}

func isAPI(r *http.Request) bool { return strings.HasPrefix(r.URL.Path, "/api/") }

// judge says why a request is refused; "" lets it through.
func (g *guard) judge(r *http.Request) (status int, why string) {
	if !g.goodHost(r.Host) {
		return http.StatusMisdirectedRequest, "this server is not called " + printable(r.Host) + "; start it with --host to give it another name"
	}
	if len(r.URL.Path) > 1024 || strings.ContainsAny(r.URL.Path, "\x00\\") || strings.Contains(r.URL.Path, "..") || strings.Contains(r.URL.Path, "//") {
		return http.StatusBadRequest, "this is no address of the server"
	}
	if err := g.crossing.Check(r); err != nil {
		return http.StatusForbidden, "another site's page may not change jobs here"
	}
	if o := r.Header.Get("Origin"); o != "" && !g.ownOrigin(o) {
		return http.StatusForbidden, "another site's page may not call this server"
	}
	api := isAPI(r)
	if s := r.Header.Get("Sec-Fetch-Site"); api && s != "" && s != "same-origin" && s != "none" {
		return http.StatusForbidden, "another site's page may not read jobs here"
	}
	if !api || r.URL.Path == "/api/health" {
		return 0, ""
	}
	if r.URL.Path == "/api/session" {
		return 0, "" // signing in looks at the token itself
	}
	if !g.sessions.signedIn(r) {
		token, given := bearer(r)
		if !given {
			return http.StatusUnauthorized, needsToken
		}
		switch g.guesses.try(r, func() bool { return g.sessions.right(token) }) {
		case guessedOften:
			return http.StatusTooManyRequests, tooManyGuesses
		case wrongToken:
			return http.StatusUnauthorized, needsToken
		}
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead && !g.heavy.allow(r) {
		return http.StatusTooManyRequests, "too many changes at once; wait a few seconds"
	}
	return 0, ""
}

const (
	tooManyGuesses = "too many wrong tokens; wait a few seconds"
	needsToken     = "give the server's token, as Authorization: Bearer TOKEN or through POST /api/session"
)

func (g *guard) ownOrigin(origin string) bool {
	scheme, host, ok := strings.Cut(origin, "://")
	return ok && (scheme == "http" || scheme == "https") && g.goodHost(host)
}

// printable keeps a header's text from breaking out of a message.
func printable(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, s)
	return s[:min(len(s), 80)]
}

func refuse(w http.ResponseWriter, status int, why string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(&Problem{Status: status, Title: http.StatusText(status), Detail: why}) // the client may be gone
}

// perClient limits the rate of each client address.
type perClient struct {
	mu    sync.Mutex
	limit rate.Limit
	burst int
	known map[string]*rate.Limiter
}

// clientsKnown bounds the table; when it is full, all start anew.
const clientsKnown = 10_000

func newPerClient(perSecond float64, burst int) *perClient {
	return &perClient{limit: rate.Limit(perSecond), burst: burst, known: map[string]*rate.Limiter{}}
}

func (p *perClient) allow(r *http.Request) bool { return p.of(clientOf(r)).Allow() }

// of is the limiter of a client.
func (p *perClient) of(client string) *rate.Limiter {
	p.mu.Lock()
	defer p.mu.Unlock()
	l := p.known[client]
	if l == nil {
		if len(p.known) >= clientsKnown {
			p.known = map[string]*rate.Limiter{}
		}
		l = rate.NewLimiter(p.limit, p.burst)
		p.known[client] = l
	}
	return l
}

// clientOf is who sends a request: its address, or the network of 64 bits in which an IPv6 host chooses its
// own (RFC 4291, section 2.5.4).
func clientOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	if a, err := netip.ParseAddr(host); err == nil && a.Is6() && !a.Is4In6() {
		if net, err := a.WithZone("").Prefix(64); err == nil {
			return net.String()
		}
	}
	return host
}

// answerMargin is what is left to tell a client that its time is over.
const answerMargin = 5 * time.Second

// within bounds the time that a request's body and answer may take; streams renew it themselves. Its work
// ends a little before, so that the client still learns why.
func within(limit time.Duration, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c := http.NewResponseController(w)
		end := time.Now().Add(limit)
		if err := errors.Join(c.SetReadDeadline(end), c.SetWriteDeadline(end)); err != nil && !errors.Is(err, http.ErrNotSupported) {
			refuse(w, http.StatusInternalServerError, "cannot set a time limit")
			return
		}
		ctx, cancel := context.WithDeadline(r.Context(), end.Add(-answerMargin))
		defer cancel()
		next.ServeHTTP(w, r.WithContext(ctx))
	})
}

// listening lets a client listen for as long as it likes: what is sent to it has a deadline each time.
func listening(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := http.NewResponseController(w).SetReadDeadline(time.Time{}); err != nil && !errors.Is(err, http.ErrNotSupported) {
			refuse(w, http.StatusInternalServerError, "cannot set a time limit")
			return
		}
		next.ServeHTTP(w, r)
	})
}
