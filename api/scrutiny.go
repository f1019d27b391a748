package api

import (
	"context"
	"fmt"

	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// ReadMaskedLog returns a part of a trial's log, the patterns behind a mask.
func (h *handlers) ReadMaskedLog(ctx context.Context, r openapi.ReadMaskedLogRequestObject) (openapi.ReadMaskedLogResponseObject, error) {
	p, err := pageOf(nil, r.Params.Limit)
	if err != nil {
		return nil, err
	}
	log, err := h.service.MaskedLog(ctx, actorOf(ctx), trial.ID(r.Trial), or(r.Params.After, ""), p.limit)
	if err != nil {
		return nil, err
	}
	answer := openapi.ReadMaskedLog200JSONResponse{Body: openapi.MaskedLog{Items: each(log.Entries, func(e conduct.LogEntry) openapi.LogEntry {
		out := openapi.LogEntry{
			Angler: orNil(e.Angler), Erased: e.Erased, Chain: openapi_types.UUID(e.ChainID), N: e.N, Kind: e.Kind, Subject: idOrNil(e.Subject),
			Week: orNil(e.Week), Hash: e.Hash.String(),
		}
		if e.Record != nil {
			out.Record = &e.Record
		}
		return out
	})}}
	if log.Next != "" {
		link := fmt.Sprintf(`</v1/trials/%s/masked-log?after=%s&limit=%d>; rel="next"`, r.Trial, log.Next, p.limit)
		answer.Headers.Link = &link
	}
	return answer, nil
}

// ListQuestions lists what members asked of a trial.
func (h *handlers) ListQuestions(ctx context.Context, r openapi.ListQuestionsRequestObject) (openapi.ListQuestionsResponseObject, error) {
	list, err := h.service.Questions(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.ListQuestions200JSONResponse{Items: each(list, questionFrom)}, nil
}

// AskQuestion files a question.
func (h *handlers) AskQuestion(ctx context.Context, r openapi.AskQuestionRequestObject) (openapi.AskQuestionResponseObject, error) {
	view, err := h.service.Ask(ctx, actorOf(ctx), trial.ID(r.Trial), r.Body.Question)
	if err != nil {
		return nil, err
	}
	return openapi.AskQuestion201JSONResponse(questionFrom(view)), nil
}

// AnswerQuestion answers a question.
func (h *handlers) AnswerQuestion(ctx context.Context, r openapi.AnswerQuestionRequestObject) (openapi.AnswerQuestionResponseObject, error) {
	view, err := h.service.Answer(ctx, actorOf(ctx), trial.ID(r.Trial), r.N, r.Body.Answer)
	if err != nil {
		return nil, err
	}
	return openapi.AnswerQuestion200JSONResponse(questionFrom(view)), nil
}

func questionFrom(v conduct.QuestionView) openapi.Question {
	q := v.Question
	return openapi.Question{
		N: q.N, AskedAs: openapi.Role(q.AskedAs), AskedAt: q.AskedAt, Mine: v.Mine, Question: q.Text, AnsweredAt: q.AnsweredAt, Answer: orNil(q.Answer),
	}
}
