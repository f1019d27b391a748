package web

import (
	"net/http"
	"net/url"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// nightRoutes are draw night: the words that members add to a trial's draw.
func (s *Site) nightRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/draw-night", Signed: true, Handle: s.nightPage},
		{Method: http.MethodPost, Path: "/trials/:trial/draw-night", Signed: true, Handle: s.giveWord},
		{Method: http.MethodPost, Path: "/trials/:trial/draw-night/close", Signed: true, Handle: s.closeNight},
	}
}

type nightView struct {
	standing
	*Form
	Night conduct.DrawNightView
}

// Given reports whether the reader has given a word.
func (n nightView) Given() bool {
	for _, w := range n.Night.Words {
		if w.Mine {
			return true
		}
	}
	return false
}

// Takes reports whether the list takes a word.
func (n nightView) Takes() bool {
	return n.Trial.TakesWord(trial.DrawNight{ClosedAt: n.Night.ClosedAt, Words: make([]trial.DrawWord, len(n.Night.Words))}) == nil
}

func (s *Site) night(v *Visit, f *Form) (view nightView, err error) {
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	view.Night, err = s.service.DrawNight(v.Ctx(), v.Actor, view.ID())
	return view, err
}

func (s *Site) nightPage(v *Visit) error {
	view, err := s.night(v, newForm(url.Values{}))
	if err != nil {
		return err
	}
	return v.Page("draw-night", view)
}

func (s *Site) giveWord(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.night(v, f)
	if err != nil {
		return err
	}
	if _, _, err := s.service.GiveWord(v.Ctx(), v.Actor, view.ID(), f.Get("word")); err != nil {
		return v.Again("draw-night", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/draw-night"), "word_given")
}

func (s *Site) closeNight(v *Visit) error {
	id, err := v.ID("trial")
	if err != nil {
		return err
	}
	if _, err := s.service.CloseDrawNight(v.Ctx(), v.Actor, id); err != nil {
		return err
	}
	return v.See(trialPath(id, "/draw-night"), "words_closed")
}
