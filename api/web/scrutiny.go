package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// scrutinyRoutes are a trial's log as a scrutineer reads it, masked, and the questions that members ask.
func (s *Site) scrutinyRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/log", Signed: true, Handle: s.logPage},
		{Method: http.MethodGet, Path: "/trials/:trial/questions", Signed: true, Handle: s.questionsPage},
		{Method: http.MethodPost, Path: "/trials/:trial/questions", Signed: true, Handle: s.ask},
		{Method: http.MethodPost, Path: "/trials/:trial/questions/:n", Signed: true, Handle: s.answer},
	}
}

// entriesShown is how many entries of the log a page shows.
const entriesShown = 200

type logView struct {
	standing
	Entries []logRow
	Next    string // the address of the next part, "" at the end
}

// logRow is an entry with what was recorded in words that a table can hold.
type logRow struct {
	conduct.LogEntry
	Said []string
}

func (s *Site) logPage(v *Visit) error {
	t, err := s.standing(v)
	if err != nil {
		return err
	}
	log, err := s.service.MaskedLog(v.Ctx(), v.Actor, t.ID(), v.QueryParam("after"), entriesShown)
	if err != nil {
		return err
	}
	view := logView{standing: t}
	for _, e := range log.Entries {
		row := logRow{LogEntry: e}
		for name, value := range e.Record {
			if text := plainValue(value); text != "" && name != "week" {
				row.Said = append(row.Said, name+" "+text)
			}
		}
		slices.Sort(row.Said)
		view.Entries = append(view.Entries, row)
	}
	if log.Next != "" {
		view.Next = trialPath(t.ID(), "/log?after="+url.QueryEscape(log.Next))
	}
	return v.Page("log", view)
}

// plainValue writes a value of a published record; "" for what says nothing.
func plainValue(value any) string {
	switch value := value.(type) {
	case nil:
		return ""
	case string:
		return value
	case bool:
		return map[bool]string{true: "yes", false: "no"}[value]
	case float64:
		return number(value)
	case []any:
		parts := make([]string, len(value))
		for i, one := range value {
			parts[i] = plainValue(one)
		}
		return strings.Join(parts, ", ")
	case map[string]any:
		var parts []string
		for name, one := range value {
			parts = append(parts, name+" "+plainValue(one))
		}
		slices.Sort(parts)
		return strings.Join(parts, ", ")
	}
	return ""
}

type questionsView struct {
	standing
	*Form
	Questions []conduct.QuestionView
	Answering int // the question that the form answers, when it came back with faults
}

// Answers reports whether the reader may answer.
func (q questionsView) Answers() bool { return trial.Permit(trial.AnswerQuestion, q.Club.Role) == nil }

func (s *Site) questions(v *Visit, f *Form) (view questionsView, err error) {
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	view.Questions, err = s.service.Questions(v.Ctx(), v.Actor, view.ID())
	return view, err
}

func (s *Site) questionsPage(v *Visit) error {
	view, err := s.questions(v, newForm(url.Values{}))
	if err != nil {
		return err
	}
	return v.Page("questions", view)
}

func (s *Site) ask(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.questions(v, f)
	if err != nil {
		return err
	}
	if _, err := s.service.Ask(v.Ctx(), v.Actor, view.ID(), f.Get("question")); err != nil {
		return v.Again("questions", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/questions"), "asked")
}

func (s *Site) answer(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	view, err := s.questions(v, f)
	if err != nil {
		return err
	}
	for _, q := range view.Questions {
		if v.Param("n") == number(float64(q.Question.N)) {
			view.Answering = q.Question.N
		}
	}
	if view.Answering == 0 {
		return trial.Missing("question")
	}
	if _, err := s.service.Answer(v.Ctx(), v.Actor, view.ID(), view.Answering, f.Get("answer")); err != nil {
		return v.Again("questions", f, view, err)
	}
	return v.See(trialPath(view.ID(), "/questions"), "answered")
}
