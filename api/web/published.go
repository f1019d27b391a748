package web

import (
	"net/http"
	"net/url"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// publishedRoutes are publishing a trial, and what everybody may see of a published one.
func (s *Site) publishedRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/publish", Signed: true, Handle: s.publishPage},
		{Method: http.MethodPost, Path: "/trials/:trial/publish", Signed: true, Handle: s.publish},
		{Method: http.MethodGet, Path: "/published/:trial", Handle: s.published},
		{Method: http.MethodPost, Path: "/published/:trial", Costly: true, Handle: s.findFish},
		{Method: http.MethodPost, Path: "/published/:trial/repeat", Signed: true, Handle: s.repeat},
	}
}

// publishView is the page on which an organiser publishes, with the editions there are.
type publishView struct {
	Trial    trial.ID
	Form     *Form
	Licences []string // value, label, value, label
	Editions []trial.Publication
	Busy     bool // an edition is being made
}

func (s *Site) publishView(v *Visit, f *Form) (view publishView, err error) {
	id, err := v.ID("trial")
	if err != nil {
		return view, err
	}
	view = publishView{Trial: id, Form: f}
	for _, l := range conduct.Licences() {
		view.Licences = append(view.Licences, l.ID, l.Name)
	}
	view.Editions, err = s.service.Publications(v.Request().Context(), v.Actor, id)
	for _, e := range view.Editions {
		view.Busy = view.Busy || e.State == trial.EditionQueued
	}
	return view, err
}

func (s *Site) publishPage(v *Visit) error {
	view, err := s.publishView(v, newForm(url.Values{}))
	if err != nil {
		return err
	}
	return v.Page("publish", view)
}

func (s *Site) publish(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.publishView(v, f)
	if err != nil {
		return err
	}
	_, err = s.service.PublishTrial(v.Request().Context(), v.Actor, view.Trial, conduct.NewPublication{
		Licence: f.Get("licence"), NameClub: f.Get("name_club") == "yes", Remarks: f.Get("remarks"),
	})
	if err != nil {
		return v.Again("publish", f, view, err)
	}
	return v.See("/trials/"+view.Trial.String()+"/publish", "publishing")
}

// publishedView is a published trial. Told is the last edition that was made, which still tells title and licence while none stands.
type publishedView struct {
	conduct.PublishedView
	Told    trial.Publication
	Rules   trial.Protocol // as the edition that stands has them
	Licence conduct.Licence
	Clubs   []conduct.MyClub // those that the reader organises, for a repeat
	Form    *Form
	Found   []conduct.FoundFish // what became of the records of which the reader holds receipts
}

func (s *Site) published(v *Visit) error {
	view, err := s.publishedView(v, newForm(url.Values{}))
	if err != nil {
		return err
	}
	return v.Page("published", view)
}

// findFish looks for the records of which somebody holds receipts.
func (s *Site) findFish(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.publishedView(v, f)
	if err != nil {
		return err
	}
	if view.Found, err = s.service.FindFish(v.Request().Context(), view.Trial.ID, f.Get("receipt")); err != nil {
		return v.Again("published", f, view, err)
	}
	return v.Page("published", view)
}

func (s *Site) publishedView(v *Visit, f *Form) (view publishedView, err error) {
	id, err := v.ID("trial")
	if err != nil {
		return view, err
	}
	view.Form = f
	if view.PublishedView, err = s.service.Published(v.Request().Context(), id); err != nil {
		return view, err
	}
	view.Told = view.Editions[len(view.Editions)-1]
	if view.Current.Edition != 0 {
		if view.Rules, err = s.service.PublishedRules(v.Request().Context(), id); err != nil {
			return view, err
		}
	}
	for _, l := range conduct.Licences() {
		if l.ID == view.Told.Licence {
			view.Licence = l
		}
	}
	if !v.Signed {
		return view, nil
	}
	clubs, err := s.service.Clubs(v.Request().Context(), v.Actor)
	for _, c := range clubs {
		if c.Role == trial.Organiser {
			view.Clubs = append(view.Clubs, c)
		}
	}
	return view, err
}

func (s *Site) repeat(v *Visit) error {
	id, err := v.ID("trial")
	if err != nil {
		return err
	}
	f, err := v.Form()
	if err != nil {
		return err
	}
	club, err := trial.ParseID(f.Get("club"))
	if err != nil {
		return trial.Missing("club")
	}
	made, err := s.service.CreateRepeat(v.Request().Context(), v.Actor, club, id)
	if err != nil {
		return err
	}
	return v.See("/trials/"+made.Trial.ID.String(), "repeated")
}
