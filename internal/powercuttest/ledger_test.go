package main

import (
	"bytes"
	"fmt"
	"net/http"
	"net/smtp"
	"slices"
	"testing"
)

// What comes by webhook and by mail is noted, and nothing without a network.
func TestNoticesComeIn(t *testing.T) {
	l := newLedger(func() int64 { return 7 })
	e, err := l.listen()
	if err != nil {
		t.Fatal(err)
	}
	defer e.close()
	hook := func() error {
		answer, err := http.Post(fmt.Sprintf("http://127.0.0.1:%d/hook", e.port), "application/json", bytes.NewReader([]byte(`{"id":"a","condition":"silent"}`)))
		if err == nil {
			answer.Body.Close()
		}
		return err
	}
	post := func() error {
		return smtp.SendMail(fmt.Sprintf("127.0.0.1:%d", e.mail), nil, "bins@example.org", []string{"keeper@example.org"},
			[]byte("Message-ID: <b@example.org>\r\nReferences: <c@example.org>\r\n <d@example.org>\r\n\r\nhello\r\n"))
	}
	l.away.Store(true)
	if hook() == nil || post() == nil || len(l.Told) != 0 {
		t.Errorf("without a network %v came", l.Told)
	}
	l.away.Store(false)
	if err := hook(); err != nil {
		t.Error(err)
	}
	if err := post(); err != nil {
		t.Error(err)
	}
	if told := l.toldBy(7); len(told) != 2 || told[0].ID != "a" || told[0].Condition != "silent" || told[1].ID != "b" || !slices.Equal(told[1].Also, []string{"c", "d"}) {
		t.Errorf("noted %+v", told)
	}
}
