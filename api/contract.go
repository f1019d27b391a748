package api

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"regexp"
	"slices"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/labstack/echo/v4"

	"evenrig/api/web"
	"evenrig/openapi"
	"evenrig/service/trial"
)

// contract is the document in the form in which requests are checked against it.
type contract struct {
	document   *openapi3.T
	operations map[string]*operation // by method and route, as echo writes routes
	batchItem  *openapi3.Schema
	shapes     map[*openapi3.Schema]*shape // of what JSON bodies are
	visit      []openapi3.SchemaValidationOption
	times      times
}

// operation is one operation of the document, or a page beside it. raw says that its body is read by its handler, not here.
type operation struct {
	page       bool // of the site, which the document does not have
	access     access
	scope      trial.Scopes
	costly     bool
	uncounted  bool
	parameters []*openapi3.Parameter
	body       *openapi3.RequestBody
	raw        bool
	bodyLimit  int64
	timeLimit  time.Duration
}

// access says whom an operation answers.
type access int

const (
	tokenOnly access = iota
	anyone
	anyoneOrToken
	anyoneOrCookie // pages
)

// What a body may be long, in bytes.
const (
	bodyLimit   = 1 << 20
	batchLimit  = 2 << 20
	importLimit = web.TableLimit

	packageLimit = 256 << 20
)

var pathParameter = regexp.MustCompile(`\{([^}]+)\}`)

// loadContract reads the document. It panics when the document that is built into the program cannot be read.
func loadContract() *contract {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Spec)
	if err != nil {
		panic("the contract cannot be read: " + err.Error())
	}
	k := &contract{
		document:   doc,
		operations: map[string]*operation{},
		times:      times{readTime, workTime, pauseTime},
		batchItem:  doc.Components.Schemas["BatchCatch"].Value,
		shapes:     map[*openapi3.Schema]*shape{},
		visit: []openapi3.SchemaValidationOption{
			openapi3.MultiErrors(), openapi3.VisitAsRequest(),
			openapi3.WithStringFormatValidator("uuid", openapi3.NewCallbackValidator(isUUID)),
			openapi3.WithStringFormatValidator("date-time", openapi3.NewCallbackValidator(isTime)),
		},
	}
	for path, item := range doc.Paths.Map() {
		route := pathParameter.ReplaceAllString(path, ":$1")
		for method, op := range item.Operations() {
			o := &operation{
				access: accessOf(op.Security), scope: scopeOf(method, path, op.Tags), costly: slices.Contains(costly, op.OperationID),
				uncounted: slices.Contains(uncounted, op.OperationID), bodyLimit: bodyLimit, timeLimit: workTime,
			}
			for _, p := range append(slices.Clone(item.Parameters), op.Parameters...) {
				o.parameters = append(o.parameters, p.Value)
			}
			if op.RequestBody != nil {
				o.body = op.RequestBody.Value
				for _, media := range o.body.Content {
					k.shapes[media.Schema.Value] = shapeOf(media.Schema.Value)
				}
			}
			switch op.OperationID {
			case "submitCatches", "findFish":
				o.raw, o.bodyLimit = true, batchLimit
			case "importTable":
				o.raw, o.bodyLimit, o.timeLimit = true, importLimit, importTime
			case "readPackage":
				o.raw, o.bodyLimit, o.timeLimit = true, packageLimit, importTime
			case "getPackage", "getPackageWorkbook", "exportCatches", "exportWorkbook", "exportOwnData":
				o.timeLimit = exportTime
			}
			k.operations[method+" "+route] = o
		}
	}
	k.shapes[k.batchItem] = shapeOf(k.batchItem)
	return k
}

func accessOf(security *openapi3.SecurityRequirements) access {
	switch {
	case security == nil:
		return tokenOnly
	case len(*security) == 0:
		return anyone
	}
	for _, requirement := range *security {
		if len(requirement) == 0 {
			return anyoneOrToken
		}
	}
	return tokenOnly
}

func isUUID(s string) error {
	_, err := trial.ParseID(s)
	return err
}

// isTime accepts what decoding accepts, so that a fault is named here with its field.
func isTime(s string) error {
	return new(time.Time).UnmarshalText([]byte(s))
}

// addPages makes the pages known, so that they are limited, measured and answered for like operations of the document.
func (k *contract) addPages(routes []web.Route) {
	for _, r := range routes {
		op := &operation{page: true, access: anyoneOrCookie, costly: r.Costly, raw: true, bodyLimit: cmp.Or(r.BodyLimit, bodyLimit), timeLimit: workTime}
		if op.bodyLimit > bodyLimit {
			op.timeLimit = importTime
		}
		k.operations[r.Method+" "+r.Path] = op
	}
}

// operation returns the operation that the request is for, nil when the contract has none.
func (k *contract) operation(c echo.Context) *operation {
	return k.operations[c.Request().Method+" "+c.Path()]
}

// limitTime bounds how long a request is worked at. A longer body may take its time as long as it keeps arriving, and a table on its way
// out as long as it is taken.
func (k *contract) limitTime(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		op := k.operation(c)
		if op == nil {
			return next(c)
		}
		limit := op.timeLimit
		if op.timeLimit > workTime && !op.receives() {
			control := http.NewResponseController(c.Response().Writer)
			deadline := time.Now().Add(op.timeLimit)
			if err := errors.Join(control.SetReadDeadline(deadline), control.SetWriteDeadline(deadline.Add(readTime))); err != nil && !errors.Is(err, http.ErrNotSupported) {
				return err
			}
		} else {
			limit += k.times.takeTime(c.Request(), c.Response().Writer, op)
		}
		ctx, cancel := context.WithTimeout(c.Request().Context(), limit)
		defer cancel()
		c.SetRequest(c.Request().WithContext(ctx))
		return next(c)
	}
}

// receives reports whether the operation takes a body in.
func (o *operation) receives() bool { return o.raw || o.body != nil }

// limitBody bounds the body's length.
func (k *contract) limitBody(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		limit := int64(bodyLimit)
		if op := k.operation(c); op != nil {
			limit = op.bodyLimit
		}
		r := c.Request()
		if r.ContentLength > limit {
			return &http.MaxBytesError{Limit: limit}
		}
		if r.Body != http.NoBody {
			r.Body = http.MaxBytesReader(c.Response().Writer, r.Body, limit)
		}
		return next(c)
	}
}
