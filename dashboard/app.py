"""The page table, in the order of the navigation. Run by: streamlit run dashboard/app.py."""

from dashboard import navigation
from dashboard.navigation import EVERYONE, Page
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
from dashboard.text.catalogue import mark
from warehouse import journal
from warehouse.vocabulary import STAFF

PAGES = (
    Page("week", mark("This week"), STAFF, week.show),
    Page("students", mark("Students"), STAFF, students.show),
    Page("student", mark("Student"), STAFF, student.show),
    Page("drills", mark("Drills"), STAFF, drills.show),
    Page("coaches", mark("Coaches"), STAFF, coaches.show),
    Page("lesson", mark("Lesson sheet"), STAFF, lesson.show),
    Page("notes", mark("Write a note"), STAFF, notes.show),
    Page("progress", mark("Progress page"), EVERYONE, progress.show),
    Page("deliveries", mark("Deliveries"), STAFF, deliveries.show),
    Page("trust", mark("How sure are we"), STAFF, trust.show),
    Page("quality", mark("Data quality"), ("head_coach",), quality.show),
)

if __name__ == "__main__":
    journal.show_steps_if_asked()
    navigation.run(PAGES)
