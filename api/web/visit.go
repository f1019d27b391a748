package web

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"evenrig/service/trial"
)

// Visit is one request for a page: who asks, in which language, and ways to answer.
type Visit struct {
	echo.Context
	Actor  trial.Actor // zero unless Signed
	Signed bool
	site   *Site
	book   *book
}

func (s *Site) visit(c echo.Context) *Visit {
	actor, signed := c.Request().Context().Value(actorKey{}).(trial.Actor)
	return &Visit{Context: c, Actor: actor, Signed: signed, site: s, book: s.bookFor(c.Request())}
}

// ID returns the id in the address under the given name; what is no id is answered like one that does not exist.
func (v *Visit) ID(name string) (trial.ID, error) {
	id, err := trial.ParseID(v.Param(name))
	if err != nil {
		return id, trial.Missing(name)
	}
	return id, nil
}

// Ctx is the request's context.
func (v *Visit) Ctx() context.Context { return v.Request().Context() }

// T returns the words with the key; pairs are placeholders' names and values.
func (v *Visit) T(key string, pairs ...any) string { return v.book.say(key, pairs...) }

// view is what every template gets: the frame's own needs and, as Data, the page's.
type view struct {
	Language string
	Signed   bool
	Path     string // of the page, for links that come back
	Done     string // what a form has just done, in words
	Data     any
}

// Page answers with a page.
func (v *Visit) Page(name string, data any) error { return v.page(http.StatusOK, name, data) }

func (v *Visit) page(status int, name string, data any) error {
	t, ok := v.book.pages[name]
	if !ok {
		return errors.New("there is no page named " + name)
	}
	shown := view{Language: v.book.language.String(), Signed: v.Signed, Path: v.Request().URL.Path, Data: data}
	if done := v.QueryParam("done"); done != "" {
		shown.Done = v.book.words["done."+done]
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "frame", shown); err != nil {
		return err
	}
	v.Response().Header().Set("Content-Security-Policy", policy)
	v.Response().Header().Set("Content-Language", shown.Language)
	return v.HTMLBlob(status, b.Bytes())
}

// part answers with one template of a page alone, for a script that puts it into the page.
func (v *Visit) part(name, part string, data any) error {
	var b bytes.Buffer
	if err := v.book.pages[name].ExecuteTemplate(&b, part, view{Language: v.book.language.String(), Signed: v.Signed, Data: data}); err != nil {
		return err
	}
	return v.HTMLBlob(http.StatusOK, b.Bytes())
}

// See answers a form: the browser goes to the page at path, so that reloading it sends nothing twice. done is the key of
// words in the group "done" that say what has happened, "" for none.
func (v *Visit) See(path, done string) error {
	if done != "" {
		mark := "?"
		if strings.Contains(path, "?") {
			mark = "&"
		}
		path += mark + "done=" + url.QueryEscape(done)
	}
	return v.Redirect(http.StatusSeeOther, path)
}

// Again shows a page with the form as it was filled in, each fault beside its field. What is not the form's fault is an
// error like any other.
func (v *Visit) Again(name string, form *Form, data any, err error) error {
	failed, ok := errors.AsType[*trial.Error](err)
	if !ok || failed.Kind == trial.Internal || failed.Kind == trial.NotFound && len(failed.Fields) == 0 {
		return err
	}
	form.fail(failed)
	return v.again(name, data, err)
}

// again shows a page whose form has its faults already.
func (v *Visit) again(name string, data any, err error) error {
	if trial.KindOf(err) == trial.Internal {
		return err
	}
	return v.page(v.site.o.Status(err), name, data)
}

// toSignIn sends a visitor to sign in and then back to the page he wanted.
func (v *Visit) toSignIn() error {
	if v.Request().Method != http.MethodGet {
		return v.See("/sign-in", "")
	}
	return v.Redirect(http.StatusSeeOther, "/sign-in?next="+url.QueryEscape(v.Request().URL.RequestURI()))
}

// inside returns where to go after signing in: a path of this site, whatever the address says.
func inside(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.Contains(next, `\`) {
		return "/clubs"
	}
	return next
}

// Fault is a failure in words.
type Fault struct {
	Status    int
	Detail    string
	Fields    []trial.FieldError
	RequestID string
	Wait      int // seconds until it is worth trying again, 0 where waiting does not help
}

// Fail answers with a page that says what went wrong.
func (s *Site) Fail(c echo.Context, f Fault) error {
	v := s.visit(c)
	if f.Status == http.StatusUnauthorized {
		return v.toSignIn()
	}
	return v.page(f.Status, "fault", f)
}
