"""The page table, in the order of the navigation. Run by: streamlit run dashboard/app.py."""

from dashboard import frame
from dashboard.frame import EVERYONE, Page
from dashboard.pages.coaches import screen as coaches
from dashboard.pages.deliveries import screen as deliveries
from dashboard.pages.drills import screen as drills
from dashboard.pages.lesson import screen as lesson
from dashboard.pages.notes import screen as notes
from dashboard.pages.progress import screen as progress
from dashboard.pages.quality import screen as quality
from dashboard.pages.student import screen as student
from dashboard.pages.students import screen as students
from dashboard.pages.trust import screen as trust
from dashboard.pages.week import screen as week
from warehouse import journal
from warehouse.vocabulary import STAFF

PAGES = (
    Page("week", "This week", STAFF, week.show),
    Page("students", "Students", STAFF, students.show),
    Page("student", "Student", STAFF, student.show),
    Page("drills", "Drills", STAFF, drills.show),
    Page("coaches", "Coaches", STAFF, coaches.show),
    Page("lesson", "Lesson sheet", STAFF, lesson.show),
    Page("notes", "Write a note", STAFF, notes.show),
    Page("progress", "Progress page", EVERYONE, progress.show),
    Page("deliveries", "Deliveries", STAFF, deliveries.show),
    Page("trust", "How sure are we", STAFF, trust.show),
    Page("quality", "Data quality", ("head_coach",), quality.show),
)

if __name__ == "__main__":
    journal.show_steps_if_asked()
    frame.run(PAGES)
