package web

import (
	"crypto/hmac"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// sessions checks the token. A browser trades it once for a cookie that scripts cannot read; the
// cookie's key is new with each start of the server.
type sessions struct {
	token  string // "" lets everyone in: loopback
	key    []byte
	secure bool
}

const (
	cookieName = "mouldwright"
	// cookieLife is a working week.
	cookieLife = 7 * 24 * time.Hour
)

func newSessions(opt Options) *sessions {
	return &sessions{token: opt.Token, key: []byte(randomHex(32)), secure: opt.CertFile != ""}
}

// signedIn says whether a request needs no token: the server asks for none, or the cookie is good.
func (s *sessions) signedIn(r *http.Request) bool {
	if s.token == "" {
		return true
	}
	c, err := r.Cookie(cookieName)
	if err != nil {
		return false
	}
	until, mark, ok := strings.Cut(c.Value, ".")
	end, err := strconv.ParseInt(until, 10, 64)
	return ok && err == nil && time.Now().Unix() < end && hmac.Equal([]byte(mark), []byte(s.mark(until)))
}

// bearer is the token that a request gives in its Authorization header.
func bearer(r *http.Request) (token string, given bool) {
	return strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
}

// right compares digests, so that the time it takes says nothing of the token or its length.
func (s *sessions) right(token string) bool {
	a, b := sha256.Sum256([]byte(token)), sha256.Sum256([]byte(s.token))
	return subtle.ConstantTimeCompare(a[:], b[:]) == 1
}

func (s *sessions) mark(until string) string {
	h := hmac.New(sha256.New, s.key)
	h.Write([]byte(until))
	return hex.EncodeToString(h.Sum(nil))
}

func (s *sessions) cookie() http.Cookie {
	end := time.Now().Add(cookieLife)
	until := strconv.FormatInt(end.Unix(), 10)
	return http.Cookie{Name: cookieName, Value: until + "." + s.mark(until), Path: "/", Expires: end, HttpOnly: true,
		Secure: s.secure, SameSite: http.SameSiteStrictMode}
}
