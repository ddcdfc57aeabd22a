# Thin: Meson builds, tools/ checks. SPDX-License-Identifier: Apache-2.0
.PHONY: help setup demo check check-pages build bench fuzz install format clean
SHELL := /bin/bash

help:
	@echo "make demo     install what is needed, build, and show the program on the demo's files"
	@echo "make check    everything that must be green: two builds, all tests, all gates"
	@echo "make check-pages  each page of the desk in Chromium, some minutes more"
	@echo "make build    the program, at build/proveout"
	@echo "make bench    how fast, on generated jobs"
	@echo "make fuzz     search each reader for trouble, 60 s each (SECONDS_EACH=n)"
	@echo "make install  the program, the library and its headers (DESTDIR= and PREFIX= count)"
	@echo "make format   lay out the sources as .clang-format says"
	@echo "make setup    install the Debian 12 packages that are missing"
	@echo "make clean    remove what was built"

setup:
	@tools/setup

build: setup
	@tools/build

demo: build
	@demo/run

check: setup
	@tools/check-all

check-pages: build
	@tools/check-pages

bench: build
	@bench/run build

fuzz: setup
	@tools/fuzz $(SECONDS_EACH)

PREFIX ?= /usr/local
install: build
	@meson configure build -Dprefix=$(PREFIX) && meson install -C build

format:
	@git ls-files -z '*.c' '*.h' | xargs -0 clang-format -i

clean:
	rm -rf build build-asan build-fuzz demo/out
