% What LilyPond sees while it interprets a score, written as lines for corpusreg.
%
% The lines are the standard output, and nothing else is: what a score prints by itself
% goes where messages go. No file is written.
%
% Read before the score (-dinclude-settings). Books are not typeset: the music of
% each \score is interpreted, nothing is drawn. Fields are separated by tabs; times
% are fractions of a whole note; ids of notes and contexts are numbers of this file.
%
%   score   header fields, as name=text, then 'layout' or 'midi'
%   step    moment  position-in-measure  bar-number  measure-length  metre
%   bar     moment  glyph of the barline
%   ending  moment  1 or -1 (begins, ends)  pass numbers
%   again   moment  how often a repeat goes back from here
%   tempo   moment  beats a minute  length of the beat
%   word    moment  kind of mark  text
%   context id  parent  kind  name given to it
%   name    id of a context  moment  instrument  short name  General MIDI program
%   note    id  moment  grace(0/1)  length  semitones from middle C, sounding  context
%   other   context  (a head without pitch)
%   tie     id  id
%   dot     moment  context  (staccato)
%   dynamic moment  context  mark
%   hairpin moment  context  id  cresc or dim
%   hairpin-end  moment  id
%   pedal   moment  context  1 or -1 (down, lifted)
%   syllable  context of the sung voice, or -1
%   end

\version "2.24.0"

#(define crg-port (dup->outport (current-output-port)))
#(dup2 2 1)
#(set-port-encoding! crg-port "UTF-8")

#(define (crg-line . fields)
   (display (string-join (map (lambda (x) (crg-clean (crg-text x))) fields) "\t") crg-port)
   (newline crg-port))

#(define (crg-clean text)
   (string-map (lambda (c) (if (char-set-contains? char-set:iso-control c) #\space c)) text))

#(define (crg-text x)
   (cond ((string? x) x)
         ((number? x) (number->string x))
         ((symbol? x) (symbol->string x))
         ((markup? x) (or (false-if-exception (markup->string x)) ""))
         ((ly:moment? x) (number->string (ly:moment-main x)))
         (else "")))

% Words of a mark; the drawn signs of segno and coda are told by their names.
#(define (crg-words text)
   (let ((source (format #f "~s" text)))
     (string-append (crg-text text)
       (if (string-contains source "scripts.segno") " segno" "")
       (if (string-contains source "scripts.coda") " coda" ""))))

#(define (crg-now-of context) (ly:context-current-moment context))

#(define (crg-now engraver) (crg-now-of (ly:translator-context engraver)))

#(define (crg-grace? moment) (not (zero? (ly:moment-grace moment))))

#(define (crg-program context)
   (let ((name (ly:context-property context 'midiInstrument)))
     (if (and (string? name) (not (string-null? name)))
         (or (false-if-exception (midi-program (string->symbol name))) "")
         "")))

% One engraver a score, at its top: it hears of everything that is engraved below.
#(define (crg-engraver score)
   (let ((contexts (make-hash-table)) (heads (make-hash-table)) (spans (make-hash-table))
         (named (make-hash-table))
         (contexts-seen 0) (heads-seen 0) (spans-seen 0) (ties '()) (timing score))
     (define (context-id context)
       (or (hashq-ref contexts context)
           (let* ((above (ly:context-parent context))
                  (parent (if (ly:context? above) (context-id above) -1))
                  (id contexts-seen))
             (set! contexts-seen (1+ contexts-seen))
             (hashq-set! contexts context id)
             (crg-line 'context id parent (ly:context-name context) (ly:context-id context))
             (name context id)
             id)))
     (define (name context id)
       (let ((names (list (ly:context-property context 'instrumentName)
                          (ly:context-property context 'shortInstrumentName)
                          (crg-program context))))
         (if (not (equal? names (hashq-ref named context)))
             (begin (hashq-set! named context names)
                    (apply crg-line 'name id (crg-now-of context) names)))))
     (define (name-all context)
       (if (ly:context? context)
           (begin (name context (context-id context)) (name-all (ly:context-parent context)))))
     (define (from source) (ly:translator-context source))
     (define (note engraver grob context event)
       (let ((pitch (ly:event-property event 'pitch))
             (shift (ly:context-property context 'instrumentTransposition))
             (now (crg-now engraver)))
         (if (not (eq? (ly:context-name timing) 'Timing))
             (let ((found (ly:context-find context 'Timing))) (if found (set! timing found))))
         (cond
          ((not (ly:pitch? pitch)) (crg-line 'other (context-id context)))
          (else
            (let ((in (context-id context)) (id heads-seen))
              (set! heads-seen (1+ heads-seen))
              (hashq-set! heads grob id)
              (name-all context)
              (crg-line 'note id now (if (crg-grace? now) 1 0)
                (or (crg-length event) 0)
                (+ (ly:pitch-semitones pitch)
                   (if (ly:pitch? shift) (ly:pitch-semitones shift) 0))
                in))))))
     (define (crg-length event)
       (let ((length (ly:event-property event 'length)))
         (if (ly:moment? length)
             (if (zero? (ly:moment-main length)) (ly:moment-grace length) (ly:moment-main length))
             #f)))
     (define (step engraver)
       (let ((position (ly:context-property timing 'measurePosition))
             (length (ly:context-property timing 'measureLength))
             (metre (ly:context-property timing 'timeSignatureFraction))
             (now (crg-now engraver)))
         (if (and (ly:moment? position) (not (crg-grace? now)))
             (crg-line 'step now position
               (ly:context-property timing 'currentBarNumber)
               length
               (if (pair? metre) (format #f "~a/~a" (car metre) (cdr metre)) "")))))
     (make-engraver
      (listeners
       ((tempo-change-event engraver event)
        (let ((count (ly:event-property event 'metronome-count))
              (unit (ly:event-property event 'tempo-unit)))
          (if (pair? count) (set! count (/ (+ (car count) (cdr count)) 2)))
          (if (and (number? count) (ly:duration? unit))
              (crg-line 'tempo (crg-now engraver) count
                (ly:moment-main (ly:duration-length unit))))
          (crg-line 'word (crg-now engraver) 'Tempo (ly:event-property event 'text))))
       ((volta-span-event engraver event)
        (crg-line 'ending (crg-now engraver) (ly:event-property event 'span-direction)
          (string-join (map number->string (ly:event-property event 'volta-numbers)) " ")))
       ((volta-repeat-end-event engraver event)
        (crg-line 'again (crg-now engraver) (ly:event-property event 'return-count))))
      (acknowledgers
       ((note-head-interface engraver grob source)
        (let ((event (event-cause grob)))
          (if (and event (memq 'note-event (ly:event-property event 'class)))
              (note engraver grob (from source) event))))
       ((tie-interface engraver grob source)
        ; A tie into a repeat or out of the piece has one end only.
        (if (ly:spanner? grob) (set! ties (cons grob ties))))
       ((bar-line-interface engraver grob source)
        (let ((sign (ly:grob-property grob 'glyph)))
          (if (and (eq? 'BarLine (grob::name grob)) (string? sign) (not (string-null? sign)))
              (crg-line 'bar (crg-now engraver) sign))))
       ((staff-symbol-interface engraver grob source) (context-id (from source)))
       ((script-interface engraver grob source)
        (let ((event (event-cause grob)))
          (if (and event (memq (ly:event-property event 'articulation-type)
                               '(staccato staccatissimo)))
              (crg-line 'dot (crg-now engraver) (context-id (from source))))
          (if (and event (memq (ly:event-property event 'articulation-type) '(segno coda)))
              (crg-line 'word (crg-now engraver) 'Script
                (ly:event-property event 'articulation-type)))))
       ((dynamic-interface engraver grob source)
        (let* ((event (event-cause grob))
               (sign? (memq (grob::name grob) '(DynamicText Hairpin DynamicTextSpanner)))
               (class (if (and event sign?) (ly:event-property event 'class) '()))
               (in (context-id (from source)))
               (kind (cond ((memq 'crescendo-event class) 'cresc)
                           ((memq 'decrescendo-event class) 'dim)
                           (else #f))))
          (cond
           ((memq 'absolute-dynamic-event class)
            (crg-line 'dynamic (crg-now engraver) in (ly:event-property event 'text)))
           (kind
            (let ((id spans-seen))
              (set! spans-seen (1+ spans-seen))
              (hashq-set! spans grob id)
              (crg-line 'hairpin (crg-now engraver) in id kind))))))
       ((piano-pedal-script-interface engraver grob source)
        (let ((event (event-cause grob)))
          (if (and event (memq 'sustain-event (ly:event-property event 'class)))
              (crg-line 'pedal (crg-now engraver) (context-id (from source))
                (- (ly:event-property event 'span-direction))))))
       ((lyric-syllable-interface engraver grob source)
        (let ((voice (ly:context-property (from source) 'associatedVoiceContext)))
          (crg-line 'syllable (if (ly:context? voice) (context-id voice) -1))))
       ((mark-interface engraver grob source)
        (crg-line 'word (crg-now engraver) (grob::name grob)
          (crg-words (ly:grob-property grob 'text))))
       ((jump-script-interface engraver grob source)
        (crg-line 'word (crg-now engraver) (grob::name grob)
          (crg-words (ly:grob-property grob 'text))))
       ((text-script-interface engraver grob source)
        (crg-line 'word (crg-now engraver) (grob::name grob)
          (crg-words (ly:grob-property grob 'text)))))
      (end-acknowledgers
       ((dynamic-interface engraver grob source)
        (if (hashq-ref spans grob)
            (crg-line 'hairpin-end (crg-now engraver) (hashq-ref spans grob)))))
      ((stop-translation-timestep engraver) (step engraver))
      ((finalize engraver)
       (for-each
        (lambda (tie)
          (let ((left (hashq-ref heads (ly:spanner-bound tie LEFT)))
                (right (hashq-ref heads (ly:spanner-bound tie RIGHT))))
            (if (and left right) (crg-line 'tie left right))))
        (reverse ties))))))

% Fields of the headers, the innermost first, each as name=text; the first one counts.
#(define (crg-header . modules)
   (append-map
    (lambda (module)
      (if (module? module)
          (map (lambda (field) (format #f "~a=~a" (car field) (crg-text (cdr field))))
               (filter (lambda (field) (markup? (cdr field))) (ly:module->alist module)))
          '()))
    modules))

% A layout asks the paper it stands on for what it does not say itself.
#(define (crg-fill layout paper)
   (let ((own (ly:output-def-scope layout)))
     (module-for-each
      (lambda (name variable)
        (if (and (variable-bound? variable) (not (module-local-variable own name)))
            (module-define! own name (variable-ref variable))))
      (ly:output-def-scope paper))))

#(define (crg-score score paper . headers)
   (let* ((outputs (ly:score-output-defs score))
          (midi? (lambda (def) (eq? 'midi (ly:output-def-lookup def 'output-def-kind))))
          (layouts (remove midi? outputs))
          (printed (or (null? outputs) (pair? layouts))))
     (apply crg-line 'score (append (apply crg-header (ly:score-header score) headers)
                                    (list (if printed "layout" "midi"))))
     (if printed
         (let* ((layout (ly:output-def-clone
                         (if (pair? layouts) (car layouts)
                             (ly:parser-lookup '$defaultlayout))))
                (top (ly:output-def-lookup layout 'Score))
                (change (ly:make-context-mod
                         (list (list 'consists crg-engraver)))))
           (ly:output-def-set-variable! layout 'Score (ly:context-def-modify top change))
           (crg-fill layout paper)
           ;; One kind at a time: for a list, LilyPond's work doubles with each depth.
           (ly:run-translator
            (unfold-repeats 'tremolo (unfold-repeats 'percent (ly:score-music score)))
            layout)))
     (crg-line 'end)))

#(define (crg-book book . headers)
   (let ((all (cons (ly:book-header book) headers))
         (paper (or (ly:book-paper book) (ly:parser-lookup '$defaultpaper))))
     (for-each (lambda (part) (apply crg-book part all)) (reverse (ly:book-book-parts book)))
     (for-each
      (lambda (item) (if (ly:score? item) (apply crg-score item paper all)))
      (reverse (ly:book-scores book)))
     (force-output crg-port)))

#(define (crg-whole book) (crg-book book (ly:parser-lookup '$defaultheader)))

#(define toplevel-book-handler crg-whole)
#(define default-toplevel-book-handler crg-whole)
