"""Our own LilyPond blocks: paper, staves, sizes, and the few signs that LilyPond lacks.

All sizes follow the staff, so the same blocks serve players' and large print. Everything here is
our own text; nothing from a tune is put into it.
"""

from __future__ import annotations

import functools

from tunebook.model.book import LARGE_STAFF_PT

VERSION = "2.24.0"
OPENING_STAFF_PT = 12.0
# LilyPond's own margins inside a page: the piece's music starts this far from the page's edge, so
# that accidentals and brackets that lean out of the line are still on it.
SIDE_MARGIN_BP = 18
# Steps of LilyPond's font-size, six of which double it, by which figures and letters are larger in
# large print than the staff alone makes them.
_ENLARGED = 1.8

_SIGNS = r"""
#(use-modules (srfi srfi-1) (lily curried-definitions))
#(define-markup-command (crossed-digit layout props digit) (markup?)
   (interpret-markup layout props
    #{ \markup \concat { $digit
         \with-dimensions #'(0 . 0) #'(0 . 0) \translate #'(0.12 . 0.75)
         \path #0.1 #'((moveto 0 0) (lineto 0.5 0.5) (moveto 0 0.5) (lineto 0.5 0)) } #}))
#(define-markup-command (taken-digit layout props before after) (markup? markup?)
   (interpret-markup layout props
    #{ \markup \concat { $before \hspace #0.15 \raise #0.45 \draw-line #'(0.55 . 0)
         \hspace #0.15 $after } #}))
#(define (finger-event finger text)
   (make-music 'FingeringEvent 'digit finger 'tweaks (list (cons 'text text))))
#(define (word-event text . tweaks)
   (make-music 'TextScriptEvent 'text text 'tweaks tweaks))
crossed = #(define-event-function (finger) (index?)
   (finger-event finger (make-crossed-digit-markup (number->string finger))))
takenOver = #(define-event-function (before after) (index? index?)
   (finger-event after
     (make-taken-digit-markup (number->string before) (number->string after))))
fingerBelow = #(define-event-function (finger) (index?)
   (make-music 'FingeringEvent 'digit finger 'direction DOWN
     'tweaks '((font-shape . italic))))
stringLetter = #(define-event-function (letter) (string?)
   (word-event (make-sans-markup (make-bold-markup letter))
     '(direction . 1) (cons 'font-size (+ -5.2 enlarged)) '(outside-staff-priority . 105)
     (cons 'staff-padding (+ 2.75 (* 0.2 enlarged)))))
quarterArrow = #(define-event-function (way) (index?)
   (word-event
     (make-with-dimensions-markup '(-0.25 . 0.25) '(0 . 1.3)
       (if (= way 1)
         #{ \markup \path #0.13 #'((moveto 0 0) (lineto 0 1.3) (moveto -0.35 0.85)
                                  (lineto 0 1.3) (lineto 0.35 0.85)) #}
         #{ \markup \path #0.13 #'((moveto 0 1.3) (lineto 0 0) (moveto -0.35 0.45)
                                  (lineto 0 0) (lineto 0.35 0.45)) #}))
     '(direction . 1) '(outside-staff-priority . 107) '(staff-padding . 2.75)
     '(parent-alignment-X . 0)))
quarterUp = \quarterArrow 1
quarterDown = \quarterArrow 0
#(define drone-end #{ \markup \translate #'(0 . -0.05) \draw-line #'(0 . 0.8) #})
#(define (main-time item)
   (ly:moment-main (ly:grob-property (ly:item-get-column item) 'when)))
#(define (end-with-the-line grob)
   (let ((pieces (ly:spanner-broken-into (ly:grob-original grob))))
     (if (and (> (length pieces) 1) (eq? grob (last pieces))
              (= (main-time (ly:spanner-bound grob LEFT))
                 (main-time (ly:spanner-bound grob RIGHT))))
         (begin
           (ly:grob-set-nested-property! (list-ref pieces (- (length pieces) 2))
             '(bound-details right-broken text) drone-end)
           (ly:grob-suicide! grob)))))
droneText = #(define-music-function (letter finger) (string? string?)
   (let ((text #{ \markup \fontsize #(+ -3.5 enlarged) \concat { \sans \bold $letter
                  \hspace #0.35 \raise #0.35 \fontsize #-1 \number $finger \hspace #0.3 } #})
         (again #{ \markup \fontsize #(+ -3.5 enlarged) \concat { \sans $letter \hspace #0.3 } #}))
     #{ \once \override TextSpanner.bound-details.left.text = #text
        \once \override TextSpanner.bound-details.left-broken.text = #again
        \once \override TextSpanner.bound-details.right.text = #drone-end #}))
phraseWord = #(define-event-function (word) (string?)
   (word-event (make-italic-markup word) (cons 'font-size (+ -1.5 (/ enlarged 2)))
     '(outside-staff-priority . 450)))
words = #(define-event-function (text) (string?)
   (word-event text (cons 'font-size (+ -2 (/ enlarged 2))) '(outside-staff-priority . 430)))
#(define (remark-markup width text)
   #{ \markup \override #`(line-width . ,width) \override #'(baseline-skip . 2.4)
      \concat { \italic \wordwrap-string #text \hspace #0.8 } #})
#(define (begins-bar? column)
   (any (lambda (one) (grob::has-interface one 'bar-line-interface))
        (ly:grob-array->list (ly:grob-object column 'elements))))
#(define (remark-bar-left system x)
   (fold (lambda (column found)
           (let ((end (cdr (ly:grob-extent column system X))))
             (if (and (<= found end x) (begins-bar? column)) end found)))
     0 (filter (lambda (column)
                 (and (ly:grob-property column 'non-musical #f)
                      (ly:grob-array? (ly:grob-object column 'elements))
                      (eq? (ly:grob-system column) system)))
         (ly:grob-array->list (ly:grob-object system 'columns)))))
#(define ((within-its-bar text) grob)
   (let* ((system (ly:grob-system grob))
          (x (ly:grob-relative-coordinate (ly:grob-parent grob X) system X))
          (right (ly:output-def-lookup (ly:grob-layout grob) 'line-width))
          (room (- right (remark-bar-left system x)))
          (wrapped (lambda (most) (grob-interpret-markup grob (remark-markup most text))))
          (width (lambda (stencil) (interval-length (ly:stencil-extent stencil X))))
          (whole (wrapped 44))
          (fitted (if (<= (width whole) room) whole
            (wrapped (max room 12 (min 44 (/ (width (wrapped 1e4)) 3)))))))
     (ly:grob-set-property! grob 'stencil fitted)
     (ly:grob-set-property! grob 'Y-extent (ly:stencil-extent fitted Y))
     (ly:grob-set-property! grob 'vertical-skylines
       (ly:grob::vertical-skylines-from-stencil grob))
     (ly:grob-translate-axis! grob (min 0 (- right x (width fitted))) X)))
playerRemark = #(define-event-function (text) (string?)
   (word-event (make-with-dimension-markup X '(0 . 0) (remark-markup 44 text))
     '(self-alignment-X . #f) '(direction . -1)
     (cons 'font-size (+ -2 (/ enlarged 2)))
     '(outside-staff-priority . 470)
     (cons 'after-line-breaking (within-its-bar text))))
trillBy = #(define-event-function (finger) (index?)
   (word-event #{ \markup \concat { \musicglyph "scripts.trill" \hspace #0.25
                  \raise #0.5 \fontsize #-5 \number #(number->string finger) } #}
     '(direction . 1) '(outside-staff-priority . 200) '(parent-alignment-X . 0)
     '(self-alignment-X . -0.4)))
trillSpanBy = #(define-event-function (finger) (index?)
   #{ \tweak bound-details.left.text \markup \concat { \musicglyph "scripts.trill"
        \hspace #0.25 \raise #0.5 \fontsize #-5 \number #(number->string finger)
        \hspace #0.4 } \startTrillSpan #})
signAbove = #(define-event-function (glyph) (string?)
   (word-event (make-musicglyph-markup glyph)
     '(direction . 1) '(outside-staff-priority . 460) '(parent-alignment-X . 0)
     '(self-alignment-X . 0)))
roll = #(define-event-function () ()
   (word-event #{ \markup \path #0.16 #'((moveto 0 0) (curveto 0.4 0.7 1.2 0.7 1.6 0)) #}
     '(outside-staff-priority . 110) '(parent-alignment-X . 0) '(self-alignment-X . 0)))
tied = #(define-music-function (note) (ly:music?)
   (set! (ly:music-property note 'articulations)
     (cons (make-music 'TieEvent) (ly:music-property note 'articulations '())))
   note)
partLabel = #(define-music-function (label) (string?)
   #{ \tweak self-alignment-X #LEFT \tweak font-size #-0.5
      \mark \markup \override #'(box-padding . 0.3) \box \sans \bold #label #})
endWord = #(define-music-function (word) (string?)
   #{ \tweak font-size #-1 \textEndMark \markup \italic #word #})
endWordCoda = #(define-music-function (word) (string?)
   #{ \tweak font-size #-1 \textEndMark \markup \concat {
      \italic #word " " \raise #0.7 \fontsize #-2 \musicglyph "scripts.coda" } #})
barSign = #(define-music-function (glyph) (string?)
   #{ \tweak self-alignment-X #CENTER \textEndMark \markup \musicglyph #glyph #})
barSignNext = #(define-music-function (glyph) (string?)
   #{ \tweak self-alignment-X #CENTER \textMark \markup \musicglyph #glyph #})
slideInto = \tweak stencil
   #(lambda (grob)
      (ly:stencil-translate-axis
       (grob-interpret-markup grob
        #{ \markup \path #0.16 #'((moveto 0 -0.9) (curveto 0.5 -0.8 0.9 -0.4 1.1 0)) #})
       (let ((places (ly:grob-property grob 'positions '(0 . 0))))
         (/ (+ (car places) (cdr places)) 2))
       Y))
   \arpeggio
hiddenTime = #(define-music-function (fraction) (fraction?)
   #{ \once \omit Score.TimeSignature \time $fraction #})
cueWord = #(define-music-function (word) (string?)
   #{ <>^\markup \fontsize #1 \italic #word #})
barNumber = #(define-music-function (number) (index?)
   #{ \set Score.currentBarNumber = #number #})
numbersOverBracket = { \override Score.BarNumber.padding = #1.7 }
noBarNumber = { \once \omit Score.BarNumber }
#(define-markup-command (chord-flat layout props) ()
   (interpret-markup layout props
    #{ \markup \concat { \hspace #0.1 \fontsize #-3.5 \raise #0.7 \flat } #}))
#(define-markup-command (chord-sharp layout props) ()
   (interpret-markup layout props
    #{ \markup \concat { \hspace #0.1 \fontsize #-3.5 \raise #0.9 \sharp } #}))
#(define ((passage-line thickness dash gap) grob)
   (let* ((reach (ly:stencil-extent (ly:measure-spanner::print grob) X))
          (left (car reach)) (right (cdr reach))
          (pieces (if (zero? gap) 1 (max 1 (round (/ (- right left) (+ dash gap))))))
          (step (/ (- right left) pieces)))
     (apply ly:stencil-add empty-stencil
       (map (lambda (piece)
              (let ((start (+ left (* piece step))))
                (make-filled-box-stencil
                  (cons start (+ start (- step gap))) (cons 0 thickness))))
            (iota (inexact->exact pieces))))))
changedLook = { \once \override Staff.MeasureSpanner.stencil = #(passage-line 0.36 1 0) }
beyondLook = { \once \override Staff.MeasureSpanner.stencil = #(passage-line 0.22 1.1 0.7) }
paleGround = { \staffHighlight "white" }
"""

_PAPER = r"""
\header { tagline = ##f }
\paper {
  indent = 0
  left-margin = %(side)d\bp
  line-width = %(width).2f\bp
  paper-width = %(paper).2f\bp
  ragged-last = %(ragged)s
  print-page-number = ##f
  system-system-spacing.basic-distance = 7
  system-system-spacing.padding = 1.1
}
"""

_LAYOUT = r"""
\layout {
  \context {
    \Score
    \remove Volta_engraver
    \accepts DroneStaff
    \accepts DroneLine
    \accepts SecondStaff
    \accepts CueStaff
    \override SpacingSpanner.common-shortest-duration = #(ly:make-moment 1/8)
    \override VoltaBracket.font-size = -1.5
    \override VoltaBracketSpanner.outside-staff-padding = 1.0
    \override VoltaBracketSpanner.outside-staff-horizontal-padding = 2.5
    \override MeasureSpanner.outside-staff-priority = 700
    \override MeasureSpanner.outside-staff-padding = 0.6
    \override BarNumber.font-size = #(+ -4 enlarged)
    \override BarNumber.font-shape = #'italic
    \override BarNumber.self-alignment-X = #LEFT
    \override MetronomeMark.font-size = -1
    \override RehearsalMark.padding = 0.8
  }
  \context {
    \ChordNames
    \override ChordName.font-family = #'sans
    \override ChordName.font-series = #'bold
    \override ChordName.font-size = %(chord_size)s
    \override VerticalAxisGroup.nonstaff-relatedstaff-spacing.padding = 0.6
    \override VerticalAxisGroup.nonstaff-relatedstaff-spacing.basic-distance = 4
  }
  \context {
    \Staff
    \consists Volta_engraver
    \consists Measure_spanner_engraver
    autoBeaming = ##f
    autoAccidentals = #'()
    autoCautionaries = #'()
    extraNatural = ##f
    \override VerticalAxisGroup.default-staff-staff-spacing =
      #'((basic-distance . 6) (minimum-distance . 4) (padding . 0.9) (stretchability . 2))
    \override Fingering.direction = #UP
    \override Fingering.font-size = #(+ -4 enlarged)
    \override Fingering.staff-padding = 0.7
    \override Fingering.padding = 0.35
    \override Fingering.avoid-slur = #'inside
    \override Fingering.add-stem-support = ##t
    \override TupletBracket.direction = #DOWN
    \override TupletNumber.font-size = -3
    \override TrillSpanner.outside-staff-priority = 200
    \override Script.outside-staff-priority = 200
    \override StaffHighlight.color = #(rgb-color 0.88 0.88 0.88)
  }
  \context {
    \Staff
    \name SecondStaff
    \alias Staff
    \remove Volta_engraver
  }
  \context {
    \Staff
    \name VoiceStaff
    \alias Staff
    \remove Volta_engraver
    \RemoveAllEmptyStaves
  }
  \context {
    \StaffGroup
    \accepts VoiceStaff
    \accepts SecondStaff
    \accepts DroneStaff
    \accepts DroneLine
    \override StaffGrouper.staff-staff-spacing =
      #'((basic-distance . 7) (minimum-distance . 5) (padding . 0.9) (stretchability . 2))
  }
  \context {
    \Staff
    \name CueStaff
    \alias Staff
    \remove Volta_engraver
    \remove Time_signature_engraver
    \remove Bar_engraver
    fontSize = -4
    \override StaffSymbol.staff-space = #(magstep -4)
    \override StaffSymbol.thickness = 0.8
    \RemoveAllEmptyStaves
  }
  \context {
    \Staff
    \name DroneStaff
    \alias Staff
    \remove Volta_engraver
    \remove Time_signature_engraver
    fontSize = -4
    \override StaffSymbol.staff-space = #(magstep -4)
    \override StaffSymbol.thickness = 0.8
    \accepts DroneVoice
    \RemoveAllEmptyStaves
    \override Fingering.font-size = #(+ -1.5 enlarged)
    \override Fingering.staff-padding = 0.5
  }
  \context {
    \Dynamics
    \name DroneLine
    \alias Dynamics
    \override TextSpanner.direction = #DOWN
    \override TextSpanner.style = #'line
    \override TextSpanner.thickness = 1.4
    \override TextSpanner.font-shape = #'upright
    \override TextSpanner.bound-details.left.stencil-align-dir-y = #CENTER
    \override TextSpanner.bound-details.left.padding = 0.3
    \override TextSpanner.bound-details.right.padding = 0.6
    \override TextSpanner.bound-details.left-broken.attach-dir = #LEFT
    \override TextSpanner.bound-details.left-broken.stencil-align-dir-y = #CENTER
    \override TextSpanner.bound-details.right-broken.text = ##f
    \override TextSpanner.after-line-breaking = #end-with-the-line
    \override VerticalAxisGroup.nonstaff-relatedstaff-spacing.padding = 0.8
  }
  \context {
    \Voice
    \name DroneVoice
    \alias Voice
    \consists Duration_line_engraver
    \omit Stem
    \omit Flag
    \omit Dots
    \override NoteHead.duration-log = 2
    \override NoteHead.font-size = 0.5
    \override Rest.staff-position = 0
    \override DurationLine.thickness = 2.5
    \override DurationLine.bound-details.right.end-style = #'hook
  }
  \context {
    \Lyrics
    \override LyricText.font-size = -0.5
    \override VerticalAxisGroup.nonstaff-relatedstaff-spacing.padding = 0.7
  }
}
"""


@functools.lru_cache(maxsize=64)
def preamble(staff_size_pt: float, line_width_bp: float, *, is_ragged_last: bool) -> str:
    """Version, language, staff size, signs, paper and layout: all that stands before the music.

    ``line_width_bp`` is in PDF points (1/72 inch). The text is one object for all pieces that
    begin alike: what is kept of a tune with its exercises holds it once.
    """
    is_large = staff_size_pt >= LARGE_STAFF_PT
    paper = _PAPER % {
        "side": SIDE_MARGIN_BP,
        "width": line_width_bp,
        "paper": line_width_bp + 2 * SIDE_MARGIN_BP,
        "ragged": "##t" if is_ragged_last else "##f",
    }
    layout = _LAYOUT % {"chord_size": "-0.5" if is_large else "-1"}
    head = f'\\version "{VERSION}"\n\\language "english"\n'
    size = f"#(set-global-staff-size {staff_size_pt:g})\n"
    size += f"#(define enlarged {_ENLARGED if is_large else 0:g})\n"
    return head + size + _SIGNS.lstrip("\n") + paper + layout
