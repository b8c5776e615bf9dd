package webhook_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"clogwise/bot/webhook"
)

// description is the served OpenAPI document, as far as the tests walk it.
type description struct {
	OpenAPI string
	Paths   map[string]map[string]operation

	schemas *jsonschema.Compiler
}

type operation struct {
	OperationID string
	Security    *[]any
	RequestBody struct {
		Content map[string]struct {
			Examples map[string]struct{ Value any }
		}
	}
	Responses map[string]struct {
		Ref string `json:"$ref"`
	}
}

const docURL = "https://example.org/openapi.json"

// describe reads the description from the running server.
func (b *bundle) describe() description {
	b.Helper()
	res, err := http.Get(b.url + "/openapi.json")
	if err != nil {
		b.Fatal(err)
	}
	r := b.read(res)
	onDisk, err := os.ReadFile("openapi.json")
	if err != nil {
		b.Fatal(err)
	}
	if r.code != 200 || r.raw != string(onDisk) {
		b.Fatalf("%d: what is served is not openapi.json", r.code)
	}
	var d description
	if err := json.Unmarshal(onDisk, &d); err != nil {
		b.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(onDisk))
	if err != nil {
		b.Fatal(err)
	}
	d.schemas = jsonschema.NewCompiler()
	d.schemas.AssertFormat()
	d.schemas.DefaultDraft(jsonschema.Draft2020)
	if err := d.schemas.AddResource(docURL, doc); err != nil {
		b.Fatal(err)
	}
	return d
}

// fits checks a value against the schema at a JSON pointer of the description.
func (d description) fits(t *testing.T, pointer, raw string) {
	t.Helper()
	s, err := d.schemas.Compile(docURL + "#" + pointer)
	if err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Validate(v); err != nil {
		t.Errorf("%s\ndoes not fit %s: %v", raw, pointer, err)
	}
}

// answered checks an answer against what the description says of its status.
func (d description) answered(t *testing.T, path, method string, r reply) {
	t.Helper()
	said, ok := d.Paths[path][method].Responses[fmt.Sprint(r.code)]
	if !ok {
		t.Errorf("%s %s answers %d, which is not described: %s", method, path, r.code, r.raw)
		return
	}
	kind, _, _ := strings.Cut(r.header.Get("Content-Type"), ";")
	at := "/paths/" + escape(path) + "/" + method + "/responses/" + fmt.Sprint(r.code)
	if said.Ref != "" {
		at = strings.TrimPrefix(said.Ref, "#")
	}
	if strings.HasSuffix(kind, "json") {
		d.fits(t, at+"/content/"+escape(kind)+"/schema", r.raw)
	}
}

// escape makes a JSON pointer's token fit for a URL fragment.
func escape(token string) string {
	return strings.NewReplacer("~", "~0", "/", "~1", "{", "%7B", "}", "%7D", "+", "%2B").Replace(token)
}

// Every example of the description is sent, signed, and recorded whole; it and
// its answer fit their schemas.
func TestEveryExampleOfTheDescriptionIsTaken(t *testing.T) {
	t.Parallel()
	b := start(t)
	d := b.describe()
	s := b.sender(webhook.Signature, nil, nil)
	sent := 0
	for path, item := range d.Paths {
		for method, op := range item {
			for kind, media := range op.RequestBody.Content {
				for name, ex := range media.Examples {
					t.Run(op.OperationID+" "+kind+" "+name, func(t *testing.T) {
						body, isText := ex.Value.(string)
						if !isText {
							raw, err := json.Marshal(ex.Value)
							if err != nil {
								t.Fatal(err)
							}
							body = string(raw)
							d.fits(t, "/paths/"+escape(path)+"/"+method+"/requestBody/content/"+escape(kind)+"/schema", body)
						}
						sent++
						r := s.in(t).post(call{method: strings.ToUpper(method), path: path, kind: kind, id: fmt.Sprint("m", sent), body: body})
						if r.code != 202 || r.Refused+r.Held+r.Duplicate > 0 {
							t.Errorf("%d %s", r.code, r.raw)
						}
						d.answered(t, path, method, r)
					})
				}
			}
		}
	}
	if sent < 10 {
		t.Errorf("only %d examples", sent)
	}
}

// Each described path and method is served, answers as described, and each
// served one is described.
func TestDescriptionAndServerAgree(t *testing.T) {
	t.Parallel()
	b := start(t)
	d := b.describe()
	s := b.sender(webhook.Bearer, nil, nil)
	if d.OpenAPI != "3.1.0" {
		t.Errorf("openapi %q", d.OpenAPI)
	}
	bodies := map[string]string{"/v1/readings": one, "/v1/swaps": `{"bank":"north/ahu-1/primary","at":"2026-03-02T08:00:00Z"}`}
	for path, body := range bodies {
		if r := s.post(call{path: path, body: body}); r.code != 202 {
			t.Fatal(r.raw)
		}
	}
	if _, err := b.server.View.Recompute(context.Background(), "north/ahu-1/secondary", noon); err != nil {
		t.Fatal(err)
	}
	var paths []string
	for path, item := range d.Paths {
		paths = append(paths, path)
		example := strings.NewReplacer("{site}", "north", "{ahu}", "ahu-1", "{bank}", "secondary").Replace(path)
		for method, op := range item {
			r := s.post(call{method: strings.ToUpper(method), path: example, body: bodies[path]})
			if r.code != 200 {
				t.Errorf("%s %s: %d %s", method, path, r.code, r.raw)
			}
			d.answered(t, path, method, r)
			free := op.Security != nil && len(*op.Security) == 0
			r = (&sender{b, s.key, "cw_nobody"}).post(call{method: strings.ToUpper(method), path: example, body: bodies[path]})
			if want := map[bool]int{true: 200, false: 401}[free]; r.code != want {
				t.Errorf("%s %s without a key: %d, want %d", method, path, r.code, want)
			}
			d.answered(t, path, method, r)
		}
		wrong := s.post(call{method: "PATCH", path: example})
		for method := range item {
			d.answered(t, path, method, wrong)
		}
	}
	slices.Sort(paths)
	if served := webhook.Paths(); !slices.Equal(paths, served) {
		t.Errorf("described %v\nserved    %v", paths, served)
	}
}

// Errors are answered as described.
func TestErrorsFitTheDescription(t *testing.T) {
	t.Parallel()
	b := start(t, func(s *webhook.Server) { s.MaxBody, s.Rate, s.Burst = 1024, 0.1, 7 })
	d := b.describe()
	s := b.sender(webhook.Bearer, []string{"north"}, nil)
	for _, tc := range []struct {
		code int
		call call
	}{
		{400, call{body: "["}}, {403, call{body: `{"bank":"south/ahu-1/primary","pa":1}`}}, {413, call{body: strings.Repeat(" ", 2000)}},
		{415, call{kind: "text/html", body: "x"}}, {422, call{body: `[{"pa":1},2]`}}, {202, call{body: one}}, {200, call{body: one}},
	} {
		r := s.post(tc.call)
		if r.code != tc.code {
			t.Errorf("%d %s, want %d", r.code, r.raw, tc.code)
		}
		d.answered(t, "/v1/readings", "post", r)
	}
	b.store.FailCommits(1)
	for _, code := range []int{503, 429} {
		r := s.post(call{id: "m1", body: one})
		if r.code != code {
			t.Errorf("%d %s, want %d", r.code, r.raw, code)
		}
		d.answered(t, "/v1/readings", "post", r)
	}
}
