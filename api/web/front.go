package web

import (
	"net/http"
	"net/url"
)

// frontRoutes are the first page and the files that all pages use.
func (s *Site) frontRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/", Handle: s.front},
		{Method: http.MethodGet, Path: "/asset/*", Handle: s.serveAsset},
	}
}

func (s *Site) front(v *Visit) error {
	return v.Page("front", struct {
		Line Line
		Form *Form
	}{
		Line{LowerWord: v.T("front.lower"), UpperWord: v.T("front.upper"), Lower: &Hung{Code: v.T("front.changed"), Test: true}, Upper: &Hung{Code: v.T("front.usual")}},
		newForm(url.Values{}),
	})
}
