package web

import (
	"context"
	"slices"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/labstack/echo/v4"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// Site is the pages of one service.
type Site struct {
	service  *conduct.Service
	o        Options
	contract reference
	sample   sampleReport
	books    []*book // one for each language, the first is the one that stands in for the others
}

// Options are what the pages need of the HTTP edge that serves them. PublicURL is the address at which people reach the
// service, "" for links that are relative.
type Options struct {
	PublicURL string
	// Status is the HTTP status of an error.
	Status func(error) int
	// Cookie is the Set-Cookie header of a session's secret; of "", one that ends it.
	Cookie func(secret string) string
	// Attempt counts an attempt to sign in, and refuses one too many.
	Attempt func(ctx context.Context, whose string) error
	// Forget drops remembered sessions, so that an ended one is refused at once.
	Forget func()
	Now    func() time.Time
	// Contract is the interface for programs, which a page describes; nil describes none.
	Contract *openapi3.T
}

// New returns the pages of the service. It panics when a template or the words cannot be read: they are part of the program.
func New(service *conduct.Service, o Options) *Site {
	return &Site{service: service, o: o, contract: newReference(o.Contract), books: loadBooks()}
}

// Route is one address of the pages. A Signed one sends who has not signed in to the page for that. A Costly one counts
// against an account's limit for tables, plans and reports; BodyLimit is 0 for the usual length of a form.
type Route struct {
	Method, Path string
	Signed       bool
	Costly       bool
	BodyLimit    int64
	Handle       func(*Visit) error
}

// Routes lists every address of the pages; a new group adds its own here.
func (s *Site) Routes() []Route {
	return slices.Concat(s.frontRoutes(), s.registerRoutes(), s.referenceRoutes(), s.dropRoutes(), s.resultRoutes(), s.publishedRoutes(), s.tableRoutes(), s.waterRoutes())
}

// Register adds the pages and their assets to the router.
func (s *Site) Register(e *echo.Echo) {
	for _, r := range s.Routes() {
		e.Add(r.Method, r.Path, s.serve(r))
	}
}

// policy is what a browser may do with a page: use this site's own files, and send forms here.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data: blob:; connect-src 'self'; manifest-src 'self'; worker-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

func (s *Site) serve(r Route) echo.HandlerFunc {
	return func(c echo.Context) error {
		v := s.visit(c)
		if r.Signed && !v.Signed {
			return v.toSignIn()
		}
		return r.Handle(v)
	}
}

type actorKey struct{}

// WithActor puts who asks where the pages look for it.
func WithActor(ctx context.Context, actor trial.Actor) context.Context {
	return context.WithValue(ctx, actorKey{}, actor)
}
