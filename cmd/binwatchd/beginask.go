package main

import (
	"bufio"
	"cmp"
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
)

// ask puts a question until the answer will do.
func (b *beginner) ask(ctx context.Context, question, fallback string, will func(string) error) (string, error) {
	for {
		fmt.Fprintf(b.talk, "%s [%s] ", question, fallback)
		line, err := b.line(ctx)
		if err != nil {
			return "", err
		}
		line = cmp.Or(line, fallback)
		if will == nil {
			return line, nil
		}
		if err = will(line); err == nil {
			return line, nil
		}
		fmt.Fprintf(b.talk, "%s.\n", strings.TrimSuffix(err.Error(), "."))
	}
}

// choose has one of some words chosen, the first when nothing is typed; a beginning will do.
func (b *beginner) choose(ctx context.Context, question string, words ...string) (word string, err error) {
	_, err = b.ask(ctx, question+" "+strings.Join(words, "/"), words[0], func(s string) error {
		i := slices.IndexFunc(words, func(w string) bool { return strings.HasPrefix(w, strings.ToLower(s)) })
		if i < 0 {
			return fmt.Errorf("one of %s, please", strings.Join(words, ", "))
		}
		word = words[i]
		return nil
	})
	return word, err
}

// line is what is typed next.
func (b *beginner) line(ctx context.Context) (string, error) {
	select {
	case <-ctx.Done():
		return "", errLeft
	case line, ok := <-b.lines:
		if !ok {
			return "", errLeft
		}
		return strings.TrimSpace(line), nil
	}
}

// typed hands over lines until their end.
func typed(ctx context.Context, from io.Reader) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		for s := bufio.NewScanner(from); s.Scan(); {
			select {
			case lines <- s.Text():
			case <-ctx.Done():
				return
			}
		}
	}()
	return lines
}

// hidden asks for a secret without showing what is typed.
func (b *beginner) hidden(ctx context.Context, question string) (secret string, err error) {
	for secret == "" && err == nil {
		fmt.Fprintf(b.talk, "%s? It is not shown. ", question)
		show := hideTyping(b.in)
		secret, err = b.line(ctx)
		show()
		fmt.Fprintln(b.talk)
	}
	return secret, err
}

// kept asks for a secret and gives the file beside the configuration in which it is kept.
func (b *beginner) kept(ctx context.Context, question, name string) (file string, err error) {
	secret, err := b.hidden(ctx, question)
	if err != nil {
		return "", err
	}
	return keepSecret(filepath.Dir(b.path), name, secret)
}
