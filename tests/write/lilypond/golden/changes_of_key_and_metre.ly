\score {
  \context Score = "Tune"
  <<
      \context Staff = "MelodyStaff"
      {
          \context Voice = "Melody"
          {
              \clef treble
              {
                  \key g \minor
                  \once \override Score.TimeSignature.stencil = #ly:text-interface::print \once \override Score.TimeSignature.text = \markup \override #'(baseline-skip . 0) \number \center-column { "2+2+3" "8" }
                  \time 7/8
                  \partLabel "A"
                  bf'4
                  -1
                  c''4
                  -2
                  d''8
                  [ -3
                  ef''8
                  -3
                  f''8
                  -4 ]
                  \bar "|"
                  \noBreak
              }
              {
                  g''4
                  -4
                  f''4
                  -4
                  ef''8
                  [ -3
                  d''8
                  -3
                  c''8
                  -2 ]
                  \bar "|"
                  \noBreak
              }
              {
                  \key g \major
                  \numericTimeSignature
                  \time 6/8
                  \partLabel "B"
                  \tempo 4. = 80
                  b'8
                  [ -1 ^\signAbove "scripts.segno"
                  c''8
                  -2
                  d''8
                  -3 ]
                  e''8
                  [ -4
                  fs''8
                  -4
                  g''8
                  -4 ]
                  \bar "|"
                  \noBreak
              }
              {
                  a''4.
                  -4
                  b''4.
                  -4
                  \bar "|"
                  \noBreak
              }
              {
                  b''2.
                  -4 ^\words "slower"
                  \bar "|"
                  \noBreak
              }
              {
                  d''4.
                  -3
                  g'4.
                  -3
                  \endWord "D.C."
                  \endWord "Fine"
                  \bar "|."
              }
          }
      }
      \context DroneStaff = "DroneStaff"
      {
          \context DroneVoice = "Drone"
          {
              \clef treble
              {
                  \key g \minor
                  d'2..
                  -0 \-
              }
              {
                  s4.
                  d'2
                  -1 \-
              }
              {
                  \key g \major
                  s2.
              }
              {
                  R2.
              }
              {
                  R2.
              }
              {
                  R2.
              }
          }
      }
  >>
  \layout { }
}
\book {
  \paper {
    #(layout-set-staff-size 12)
    line-width = 240.00\bp
    paper-width = 276.00\bp
    ragged-right = ##t
    is-opening = ##t
  }
  \bookOutputSuffix "opening"
  \score {
\context Score = "Opening"
<<
    \context Staff = "MelodyStaff"
    {
        \context Voice = "Melody"
        {
            \clef treble
            {
                \key g \minor
                \once \override Score.TimeSignature.stencil = #ly:text-interface::print \once \override Score.TimeSignature.text = \markup \override #'(baseline-skip . 0) \number \center-column { "2+2+3" "8" }
                \time 7/8
                \partLabel "A"
                bf'4
                c''4
                d''8
                [
                ef''8
                f''8
                ]
                \bar "|"
                \noBreak
            }
            {
                g''4
                f''4
                ef''8
                [
                d''8
                c''8
                ]
                \bar "|"
            }
        }
    }
>>
    \layout { #(layout-set-staff-size 12) }
  }
}
