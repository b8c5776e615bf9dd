package webhook_test

import (
	"encoding/base64"
	"fmt"
	"strings"
	"testing"
	"time"

	"clogwise/bot/webhook"
)

const (
	structured = "application/cloudevents+json"
	batched    = "application/cloudevents-batch+json"
)

// Attributes are those of CloudEvents 1.0.2, section "Context Attributes".
func event(id, more string) string {
	return `{"specversion":"1.0","type":"org.example.reading","source":"/north/bms","id":"` + id + `"` + more + `}`
}

func manyAttributes(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `,"x%d":1`, i)
	}
	return b.String()
}

func TestEvents(t *testing.T) {
	t.Parallel()
	b := start(t)
	s := b.sender(webhook.Signature, nil, nil)
	const data = `{"bank":"north/ahu-1/secondary","pa":120}`
	// Known by source and id, whatever message they come in.
	first := s.post(call{id: "m1", kind: structured, body: event("e1", `,"time":"2026-03-02T08:00:00Z","datacontenttype":"application/json","data":`+data)})
	if first.code != 202 || first.Recorded != 1 {
		t.Fatalf("%d %s", first.code, first.raw)
	}
	e := b.entries()[0]
	if e.Source != "hook:"+s.key.ID+":event:/north/bms e1 000000" || !e.At.Equal(time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)) {
		t.Errorf("entry %+v", e)
	}
	again := s.post(call{id: "m2", kind: structured, body: event("e1", `,"data":`+data)})
	if again.Duplicate != 1 {
		t.Errorf("resent: %s", again.raw)
	}
	other := s.post(call{id: "m3", kind: structured, body: event("e1", `,"data":`+strings.Replace(data, "120", "130", 1))})
	if len(other.Results) != 1 || !strings.Contains(other.Results[0].Why, "something else") {
		t.Errorf("same id, other data: %s", other.raw)
	}
	batch := s.post(call{id: "m4", kind: batched + "; charset=utf-8", body: "[" + strings.Join([]string{
		event("e2", `,"traceparent":"00-1-2-3","n":1,"data":[`+data+`,`+data+`]`),
		event("e1", `,"data":`+data),
		event("e3", `,"data_base64":"`+base64.StdEncoding.EncodeToString([]byte(data))+`"`),
		event("e4", `,"data":"120 Pa"`),
		event("e5", ``),
		`{"id":"e6"}`,
		event("", `,"data":`+data),
		event("e7", `,"time":"noon","data":`+data),
		event("e8", `,"id":"e9","data":`+data),
		event("e9", `,"data":`+data+`,"data_base64":"e30="`),
		strings.Replace(event("e10", `,"data":`+data), "1.0", "0.3", 1),
		event("e12", `,"data":`+data+`,"data":`+data),
		event("e13", manyAttributes(120)+`,"data":`+data+`,"data":`+data),
		strings.Replace(event("e14", `,"data":`+data), "/north/bms", "/north bms", 1),
		event("e15", `,"datacontenttype":"text/csv","data":"bank,pa"`),
	}, ",") + "]"})
	if batch.code != 202 || batch.Recorded != 3 || batch.Duplicate != 1 || batch.Refused != 12 {
		t.Fatalf("%d %s", batch.code, batch.raw)
	}
	for i, want := range map[int]string{4: "no data", 5: "no data", 6: "specversion", 7: "no id", 8: `time "noon"`, 9: "id is given twice", 10: "both given", 11: `"0.3" is not 1.0`,
		12: "data is given twice", 13: "more than 100 attributes", 14: "no URI reference", 15: `datacontenttype "text/csv"`} {
		if !strings.Contains(batch.Results[i].Why, want) {
			t.Errorf("item %d: %q does not say %q", i, batch.Results[i].Why, want)
		}
	}
	// Attributes that are null are left out (CloudEvents 1.0.2, JSON format, 2.2).
	nulls := s.post(call{id: "m7", kind: structured, body: event("e16", `,"time":null,"subject":null,"datacontenttype":null,"data_base64":null,"data":`+data)})
	if nulls.Recorded != 1 {
		t.Errorf("null attributes: %d %s", nulls.code, nulls.raw)
	}
	none := s.post(call{id: "m8", kind: structured, body: event("e17", `,"data":null`)})
	if len(none.Results) != 1 || !strings.Contains(none.Results[0].Why, "no data") {
		t.Errorf("null data: %s", none.raw)
	}
	b.problem(s.post(call{id: "m5", kind: structured, body: strings.TrimSuffix(event("e11", `,"data":{"bank":`), "}")}), 400, "ends too early")
	b.problem(s.post(call{id: "m6", kind: structured, body: event("e11", `,"data_base64":"?"`)}), 400, "not base64")
}

func TestEventInHeaders(t *testing.T) {
	t.Parallel()
	b := start(t)
	bears, signs := b.sender(webhook.Bearer, nil, nil), b.sender(webhook.Signature, nil, nil)
	head := map[string]string{"ce-specversion": "1.0", "ce-id": "e1", "ce-source": "/north/bms", "ce-type": "org.example.reading", "ce-time": "2026-03-02T08:00:00Z"}
	const data = `{"bank":"north/ahu-1/secondary","pa":120}`
	if r := bears.post(call{body: data, header: head}); r.code != 202 || !b.entries()[0].At.Equal(time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)) {
		t.Errorf("%d %s", r.code, r.raw)
	}
	if r := bears.post(call{body: data, header: head}); r.Duplicate != 1 {
		t.Errorf("resent: %s", r.raw)
	}
	b.problem(signs.post(call{id: "m1", body: data, header: head}), 400, "does not cover ce- headers", "structured mode")
	// Header values are percent-encoded and may be quoted (CloudEvents 1.0.2, HTTP
	// binding, 3.1.3.2); the event is the same in either mode.
	for i, id := range []string{"Euro%20%E2%82%AC%20%F0%9F%98%80", `"Euro%20%E2%82%AC%20%F0%9F%98%80"`} {
		head["ce-id"] = id
		if r := bears.post(call{body: data, header: head}); r.Recorded+r.Duplicate != 1 || r.Duplicate != i {
			t.Errorf("%s: %d %s", id, r.code, r.raw)
		}
	}
	same := bears.post(call{kind: structured, body: event("Euro € 😀", `,"time":"2026-03-02T08:00:00Z","data":`+data)})
	if same.Duplicate != 1 {
		t.Errorf("in structured mode: %s", same.raw)
	}
	head["ce-id"] = ""
	b.problem(bears.post(call{body: data, header: head}), 400, "ce- headers: no id")
	head["ce-id"] = "e1"
	delete(head, "ce-specversion")
	b.problem(bears.post(call{body: data, header: head}), 400, "ce- headers: no specversion")
	b.count(2)
}
