package api

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"

	"github.com/labstack/echo/v4"
	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// batchMost is how many catches a batch may hold.
const batchMost = 500

// operations are the generated routes. One of them reads its body itself: decoded as a whole, one wrong type in one catch
// would refuse all.
type operations struct {
	openapi.ServerInterface
	handlers *handlers
}

// SubmitCatches hands the raw body to its handler.
func (o operations) SubmitCatches(c echo.Context, t openapi.TrialID) error {
	answer, err := o.handlers.SubmitCatches(c.Request().Context(), openapi.SubmitCatchesRequestObject{Trial: t, Body: c.Request().Body})
	if err != nil {
		return err
	}
	return answer.VisitSubmitCatchesResponse(c.Response())
}

// batchItem is one catch of a batch, as far as it could be read.
type batchItem struct {
	line  int
	id    *openapi_types.UUID
	catch trial.Catch
	err   error
}

// SubmitCatches saves the catches of a batch that can be saved, and says of each what became of it, in the form in
// which they were sent: a JSON array begins with [, lines of JSON with {.
func (h *handlers) SubmitCatches(ctx context.Context, r openapi.SubmitCatchesRequestObject) (openapi.SubmitCatchesResponseObject, error) {
	body := bufio.NewReader(r.Body)
	first, line, err := firstByte(body)
	if err != nil {
		return nil, err
	}
	read, answer := h.readLines, answerLines
	if first == '[' {
		read, answer = h.readArray, answerArray
	}
	items, err := read(body, line)
	if err != nil {
		return nil, err
	}
	outcomes, err := h.submit(ctx, trial.ID(r.Trial), items)
	if err != nil {
		return nil, err
	}
	return answer(outcomes)
}

// firstByte returns the first byte that is no white space and the line it stands on, and leaves it to be read.
func firstByte(body *bufio.Reader) (first byte, line int, err error) {
	for line = 1; ; {
		b, err := body.ReadByte()
		switch {
		case errors.Is(err, io.EOF):
			return 0, line, malformed("the body is empty; accepted: a JSON array of catches, or one catch a line")
		case err != nil:
			return 0, line, unreadable(err)
		case b == '\n':
			line++
		case b != ' ' && b != '\t' && b != '\r':
			return b, line, body.UnreadByte()
		}
	}
}

// readArray reads a JSON array item by item; an item's line is its place. What is no JSON cannot be read past, and
// refuses the whole.
func (h *handlers) readArray(body *bufio.Reader, _ int) ([]batchItem, error) {
	d := json.NewDecoder(body)
	if _, err := d.Token(); err != nil {
		return nil, malformed("the body is no JSON: %v", err)
	}
	var items []batchItem
	for d.More() {
		var text json.RawMessage
		if err := d.Decode(&text); err != nil {
			return nil, brokenArray(err, len(items)+1)
		}
		if len(items) == batchMost {
			return nil, tooMany()
		}
		items = append(items, h.readItem(len(items)+1, text))
	}
	if _, err := d.Token(); err != nil {
		return nil, brokenArray(err, len(items)+1)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, malformed("something follows the JSON array, from byte %d on", d.InputOffset())
	}
	return items, nil
}

func brokenArray(err error, item int) error {
	if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return tooLarge
	}
	return malformed("the array is no JSON from item %d on: %v; nothing of it was saved", item, err)
}

// readLines reads one JSON object a line, from the given line on; a line that is none spoils no other.
func (h *handlers) readLines(body *bufio.Reader, line int) ([]batchItem, error) {
	var items []batchItem
	lines := bufio.NewScanner(body)
	lines.Buffer(nil, batchLimit)
	for ; lines.Scan(); line++ {
		text := bytes.TrimSpace(lines.Bytes())
		if len(text) == 0 {
			continue
		}
		if len(items) == batchMost {
			return nil, tooMany()
		}
		items = append(items, h.readItem(line, text))
	}
	if err := lines.Err(); err != nil {
		return nil, unreadable(err)
	}
	return items, nil
}

func tooMany() error {
	var f trial.Faults
	f.Add("body", "holds more than %d catches; send the others in another batch", batchMost)
	return f.Err("request.invalid", "the request has faults")
}

// readItem reads one catch; one that cannot be read still has its id, if that can.
func (h *handlers) readItem(line int, text []byte) batchItem {
	b, err := h.decodeItem(text)
	if err != nil {
		return batchItem{line: line, id: idIn(text), err: err}
	}
	return batchItem{line: line, id: &b.ID, catch: catchTo(trial.ID(b.ID), openapi.NewCatch{
		Period: b.Period, TakenPattern: b.TakenPattern, TakenPosition: b.TakenPosition, Outcome: b.Outcome, FoulHooked: b.FoulHooked,
		RigIntact: b.RigIntact, DoubleID: b.DoubleID, Species: b.Species, Origin: b.Origin, CaughtAt: b.CaughtAt, NotedAt: b.NotedAt,
		Length: b.Length, Note: b.Note, Welfare: b.Welfare,
	})}
}

// decodeItem checks one catch against the contract and decodes it.
func (h *handlers) decodeItem(text []byte) (b openapi.BatchCatch, err error) {
	var f trial.Faults
	if err := h.contract.checkJSON(&f, h.contract.batchItem, text); err != nil {
		return b, err
	}
	if err := f.Err("request.invalid", "the catch has faults"); err != nil {
		return b, err
	}
	err = decode(text, &b)
	return b, err
}

// idIn returns the id of a catch that may have other faults, nil when there is none to be read.
func idIn(text []byte) *openapi_types.UUID {
	var sent struct {
		ID string `json:"id"`
	}
	if err := json.Unmarshal(text, &sent); err != nil && sent.ID == "" {
		return nil
	}
	id, err := trial.ParseID(sent.ID)
	if err != nil {
		return nil
	}
	u := openapi_types.UUID(id)
	return &u
}

// submit saves what could be read and returns one outcome for each item.
func (h *handlers) submit(ctx context.Context, t trial.ID, items []batchItem) ([]openapi.BatchOutcome, error) {
	var catches []trial.Catch
	for _, item := range items {
		if item.err == nil {
			catches = append(catches, item.catch)
		}
	}
	saved, err := h.service.SubmitBatch(ctx, actorOf(ctx), t, catches)
	if err != nil {
		return nil, err
	}
	outcomes := make([]openapi.BatchOutcome, len(items))
	for i, item := range items {
		o := openapi.BatchOutcome{Line: item.line, ID: item.id, Status: openapi.BatchOutcomeStatusRefused}
		err := item.err
		if err == nil {
			err = saved[0].Err
			switch view := saved[0].View; {
			case err != nil:
			case view.Created:
				o.Status, o.HTTPStatus, o.Receipt = openapi.BatchOutcomeStatusCreated, http.StatusCreated, receiptFrom(view.Receipt)
			default:
				o.Status, o.HTTPStatus, o.Receipt = openapi.BatchOutcomeStatusReplayed, http.StatusOK, receiptFrom(view.Receipt)
			}
			saved = saved[1:]
		}
		if err != nil {
			p := problemOf(err, askedOf(ctx).id)
			o.HTTPStatus, o.Problem = p.Status, &p
		}
		outcomes[i] = o
	}
	return outcomes, nil
}

func answerArray(outcomes []openapi.BatchOutcome) (openapi.SubmitCatchesResponseObject, error) {
	return openapi.SubmitCatches200JSONResponse(outcomes), nil
}

func answerLines(outcomes []openapi.BatchOutcome) (openapi.SubmitCatchesResponseObject, error) {
	var b bytes.Buffer
	lines := json.NewEncoder(&b) // ends each value with a line break
	for _, o := range outcomes {
		if err := lines.Encode(o); err != nil {
			return nil, fmt.Errorf("encode outcomes: %w", err)
		}
	}
	return openapi.SubmitCatches200ApplicationXNdjsonResponse{Body: &b, ContentLength: int64(b.Len())}, nil
}
